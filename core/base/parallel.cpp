#include "core/base/parallel.h"

#include <algorithm>
#include <atomic>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

namespace understudy {

namespace {

std::atomic<int> defaultThreads{0};

}  // namespace

void setDefaultThreads(int threads) { defaultThreads = threads; }

int workers(int threads) {
  if (threads <= 0) threads = defaultThreads;
  return threads > 0 ? threads : static_cast<int>(std::max(1U, std::thread::hardware_concurrency()));
}

void parallelFor(int count, const std::function<void(int)>& work, int threads) {
  threads = std::min(workers(threads), count);
  if (threads <= 1) {
    for (int i = 0; i < count; ++i) work(i);
    return;
  }
  std::atomic<int> next{0};
  std::exception_ptr failure;
  std::mutex guard;
  const auto run = [&] {
    for (int i = next++; i < count; i = next++) try {
        work(i);
      } catch (...) {
        const std::scoped_lock lock(guard);
        if (!failure) failure = std::current_exception();
        next = count;
      }
  };
  {
    std::vector<std::jthread> helpers;
    for (int t = 1; t < threads; ++t) helpers.emplace_back(run);
    run();
  }
  if (failure) std::rethrow_exception(failure);
}

}  // namespace understudy
