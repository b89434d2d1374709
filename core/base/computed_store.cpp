#include "core/base/computed_store.h"

#include <mutex>

namespace understudy {
namespace {

std::mutex guard;
std::shared_ptr<ComputedStore> current;

}  // namespace

void setComputedStore(std::shared_ptr<ComputedStore> store) {
  const std::scoped_lock lock(guard);
  current = std::move(store);
}

std::shared_ptr<ComputedStore> computedStore() {
  const std::scoped_lock lock(guard);
  return current;
}

}  // namespace understudy
