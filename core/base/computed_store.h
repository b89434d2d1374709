// Where computed data that is costly to make anew may be kept between runs of a program.
#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>

namespace understudy {

/// Bytes by key. Losing them costs time, never a result: load() may forget, save() may fail silently. Safe for threads.
class ComputedStore {
 public:
  virtual ~ComputedStore() = default;
  /// What was saved under a key, unchanged; none: nothing is known of it.
  [[nodiscard]] virtual std::optional<std::string> load(const std::string& key) = 0;
  /// `key` is made of letters, digits and dashes, and names the content: the same key always means the same bytes.
  virtual void save(const std::string& key, std::string_view bytes) = 0;
};

/// The process's store; null (the default): everything is made anew. Programs set it once, before they start threads.
void setComputedStore(std::shared_ptr<ComputedStore> store);
[[nodiscard]] std::shared_ptr<ComputedStore> computedStore();

}  // namespace understudy
