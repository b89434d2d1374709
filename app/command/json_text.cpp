#include "app/command/json_text.h"

namespace understudy::cli {

std::string textOf(const Json& json) { return json.dump(1, ' ', false, Json::error_handler_t::replace); }

}  // namespace understudy::cli
