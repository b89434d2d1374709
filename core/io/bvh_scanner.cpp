#include "core/io/bvh_scanner.h"

#include <cmath>
#include <cstring>

namespace understudy {

using bvh::isLineEnd;

int BvhScanner::lineOf(const char* p) const {
  int line = 1;
  if (p == begin) return line;  // an empty text may have no address
  const auto size = [&](const char* from) { return static_cast<std::size_t>(p - from); };
  const char* q = begin;
  while ((q = static_cast<const char*>(std::memchr(q, '\n', size(q)))) != nullptr) ++line, ++q;
  q = begin;
  while ((q = static_cast<const char*>(std::memchr(q, '\r', size(q)))) != nullptr) ++q, line += q == end || *q != '\n';
  return line;
}

std::string BvhScanner::place(const char* p) const { return path_ + ", line " + std::to_string(lineOf(p)); }

bool BvhScanner::fail(const char* p, std::string what, std::string todo) {
  error = makeError(Fault::input, std::move(what), place(p), std::move(todo));
  return false;
}

void BvhScanner::warn(const char* p, std::string what, std::string todo) {
  issues_.push_back(makeWarning(std::move(what), place(p), std::move(todo)));
}

void BvhScanner::note(const char* p, std::string what, std::string todo) {
  issues_.push_back(makeNote(std::move(what), place(p), std::move(todo)));
}

bool BvhScanner::atComment(const char* p) const {
  return p < end && (*p == '#' || *p == ';' || (*p == '/' && p + 1 < end && p[1] == '/'));
}

void BvhScanner::skipLine() {
  while (at < end && !isLineEnd(*at)) ++at;
}

void BvhScanner::skipSpace() {
  while (at < end) {
    if (isSpace(*at)) {
      ++at;
    } else if (atComment(at)) {
      skipLine();
    } else {
      return;
    }
  }
}

std::string_view BvhScanner::word() {
  skipSpace();
  const char* start = at;
  if (at < end && (*at == '{' || *at == '}')) return {start, static_cast<std::size_t>(++at - start)};
  while (at < end && !isSpace(*at) && *at != '{' && *at != '}') ++at;
  return {start, static_cast<std::size_t>(at - start)};
}

std::string_view BvhScanner::restOfLine() {
  const char* start = at;
  while (at < end && !isLineEnd(*at) && *at != '{') ++at;
  return trimmedText({start, static_cast<std::size_t>(at - start)});
}

bool BvhScanner::number(double& value, const char* what) {
  const std::string_view token = word();
  const char* start = token.data();
  if (token.empty()) return fail(end, std::string("The file ends where ") + what + " should stand", "The file is incomplete: export it again");
  if (bvh::readAnyNumber(start, start + token.size(), value) != start + token.size())
    return fail(start, shown(token) + " stands where " + what + " should", "Correct the number");
  if (!std::isfinite(value) || std::abs(value) > largest)
    return fail(start, shown(token) + " is no usable number for " + what, "Correct the number");
  return true;
}

void BvhScanner::skipWord() {
  while (at < end && !isSpace(*at)) ++at;
}

}  // namespace understudy
