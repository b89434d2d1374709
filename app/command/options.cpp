#include "app/command/options.h"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <numeric>

namespace understudy::cli {
namespace {

// Levenshtein distance, one row at a time.
std::size_t distanceBetween(std::string_view a, std::string_view b) {
  std::vector<std::size_t> row(b.size() + 1);
  std::iota(row.begin(), row.end(), std::size_t{0});
  for (std::size_t i = 1; i <= a.size(); ++i) {
    std::size_t diagonal = row[0];
    row[0] = i;
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const std::size_t substituted = diagonal + (a[i - 1] == b[j - 1] ? 0 : 1);
      diagonal = row[j];
      row[j] = std::min({row[j] + 1, row[j - 1] + 1, substituted});
    }
  }
  return row[b.size()];
}

Issue usage(std::string what, std::string todo = {}) { return makeError(Fault::usage, std::move(what), {}, std::move(todo)); }

}  // namespace

std::string nearest(std::string_view word, const std::vector<std::string>& candidates) {
  std::string best;
  std::size_t bestDistance = std::max<std::size_t>(2, word.size() / 3) + 1;
  for (const std::string& candidate : candidates) {
    std::size_t d = distanceBetween(word, candidate);
    if (word.size() >= 3 && candidate.starts_with(word)) d = std::min<std::size_t>(d, 1);
    if (d < bestDistance) bestDistance = d, best = candidate;
  }
  return best;
}

std::string Options::value(const std::string& name) const {
  const auto at = values_.find(name);
  return at == values_.end() ? std::string() : at->second;
}

Result<double> Options::number(const std::string& name, double fallback) const {
  if (!has(name)) return fallback;
  const std::string text = value(name);
  const char* begin = text.data() + (text.starts_with('+') ? 1 : 0);
  double number = 0;
  const auto [stop, error] = std::from_chars(begin, text.data() + text.size(), number);
  if (error != std::errc{} || stop != text.data() + text.size() || !std::isfinite(number))
    return usage("--" + name + " needs a number, not '" + text + "'");
  return number;
}

Result<int> Options::integer(const std::string& name, int fallback) const {
  if (!has(name)) return fallback;
  const std::string text = value(name);
  int number = 0;
  const auto [stop, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (error != std::errc{} || stop != text.data() + text.size()) return usage("--" + name + " needs a whole number, not '" + text + "'");
  return number;
}

Result<Options> parseOptions(const std::vector<std::string>& words, const std::vector<OptionSpec>& options,
                             const std::vector<ArgumentSpec>& arguments) {
  Options result;
  bool onlyArguments = false;
  for (std::size_t i = 0; i < words.size(); ++i) {
    const std::string& word = words[i];
    if (onlyArguments || word.size() < 2 || word[0] != '-') {
      result.arguments_.push_back(word);
      continue;
    }
    if (word == "--") {
      onlyArguments = true;
      continue;
    }
    const std::string full = word == "-h" ? "--help" : word;
    const std::size_t equals = full.find('=');
    const std::string name = full.substr(full.starts_with("--") ? 2 : 1, equals == std::string::npos ? equals : equals - (full.starts_with("--") ? 2 : 1));
    const auto spec = std::find_if(options.begin(), options.end(), [&](const OptionSpec& o) { return o.name == name; });
    if (spec == options.end() || !full.starts_with("--")) {
      std::vector<std::string> names;
      for (const OptionSpec& o : options) names.push_back(o.name);
      const std::string near = nearest(name, names);
      return usage("There is no option '" + word + "'", near.empty() ? "--help lists the options" : "Did you mean --" + near + "?");
    }
    if (result.values_.contains(name)) return usage("--" + name + " is given twice");
    if (spec->value.empty()) {
      if (equals != std::string::npos) return usage("--" + name + " takes no value");
      result.values_[name] = "";
      continue;
    }
    if (equals != std::string::npos) {
      result.values_[name] = full.substr(equals + 1);
    } else {
      // A word that is itself an option means that the value was forgotten; "-90" is a value.
      if (i + 1 >= words.size() || words[i + 1].starts_with("--")) return usage("--" + name + " needs a value: --" + name + " " + spec->value);
      result.values_[name] = words[++i];
    }
    if (result.values_[name].empty()) return usage("--" + name + " needs a value: --" + name + " " + spec->value);
  }
  if (result.has("help")) return result;
  for (const OptionSpec& spec : options)
    if (spec.required && !result.has(spec.name)) return usage("--" + spec.name + " " + spec.value + " is missing");
  std::size_t required = 0;
  for (const ArgumentSpec& spec : arguments) required += spec.required ? 1 : 0;
  if (result.arguments_.size() < required) return usage(arguments[result.arguments_.size()].name + " is missing");
  if (result.arguments_.size() > arguments.size())
    return usage("'" + result.arguments_[arguments.size()] + "' is one argument too many", "Put names that hold spaces in quotes");
  return result;
}

std::string helpTable(const std::vector<ArgumentSpec>& arguments, const std::vector<OptionSpec>& options) {
  std::vector<std::pair<std::string, std::string>> rows;
  for (const ArgumentSpec& spec : arguments) rows.emplace_back(spec.name, spec.help);
  for (const OptionSpec& spec : options)
    rows.emplace_back("--" + spec.name + (spec.value.empty() ? "" : " " + spec.value), (spec.required ? "required: " : "") + spec.help);
  std::size_t width = 0;
  for (const auto& [left, right] : rows) width = std::max(width, left.size());
  std::string text;
  for (const auto& [left, right] : rows) {
    text += "  " + left + std::string(width - left.size() + 2, ' ');
    for (char c : right) {
      text += c;
      if (c == '\n') text += std::string(width + 4, ' ');
    }
    text += '\n';
  }
  return text;
}

}  // namespace understudy::cli
