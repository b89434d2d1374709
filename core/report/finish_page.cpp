#include "core/report/finish_report.h"

namespace understudy {

std::string finishReportHtml(const FinishReport& report) { return "<!doctype html>\n<title>" + report.clip + "</title>\n"; }

}  // namespace understudy
