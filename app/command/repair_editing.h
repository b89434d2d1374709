// An edit of a take's repairs: begun, checked, anchored, evaluated, saved.
#pragma once

#include <string>
#include <vector>

#include "app/command/repair_reel.h"

namespace understudy::cli {

/// An item as messages and arguments name it: "7", "prop:1", "object:2", "lock:1".
struct ItemName {
  std::string list;  ///< "" repairs and nudges, "prop", "object", "lock"
  std::uint64_t id = 0;
  [[nodiscard]] std::string text() const { return (list.empty() ? "" : list + ":") + std::to_string(id); }
};
[[nodiscard]] Result<ItemName> parseItemName(const std::string& text);
/// Several with commas between them.
[[nodiscard]] Result<std::vector<ItemName>> parseItemNames(const std::string& text);
/// The error that there is no such item.
[[nodiscard]] Issue missing(const OpenReel& open, const ItemName& name);

/// Errors of values given on the command line or in a file of them are mistakes of the request.
[[nodiscard]] Issue asRequest(Issue issue);

/// The take while it is edited, with what is needed to check it.
struct Editing {
  OpenReel open;
  Take take;
  Shown shown;
  std::vector<std::uint64_t> touched;  ///< repairs
  std::vector<std::string> named;      ///< all items, as ItemName writes them
  Issues issues;
};
[[nodiscard]] Result<Editing> beginEditing(OpenReel open, const RunControl& control);
[[nodiscard]] Status evaluateAgain(Editing& editing, const RunControl& control);
/// Anchors what is new, evaluates, saves, answers with `verb` ("added"); returns the exit code. Nothing is saved where anything is wrong.
[[nodiscard]] int finishEditing(const Context& context, Editing& editing, const char* verb);

template <class T>
[[nodiscard]] std::uint64_t freeId(const std::vector<T>& items) {
  std::uint64_t id = 0;
  for (const T& item : items) id = std::max(id, item.id);
  return id + 1;
}

}  // namespace understudy::cli
