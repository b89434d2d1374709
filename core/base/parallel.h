// Work shared among threads. The only place of the core that starts any.
#pragma once

#include <functional>

namespace understudy {

/// Calls work(i) for i = 0 … count−1, each once, from up to `threads` threads (0: as set below), this one included, and returns
/// when all are done. Calls must not depend on each other's order; an exception of any call is thrown on here.
void parallelFor(int count, const std::function<void(int)>& work, int threads = 0);

/// How many threads parallelFor() means by `threads`.
[[nodiscard]] int workers(int threads = 0);

/// Threads where none are asked for; 0 (the default): one a core. Programs set it once at their start.
void setDefaultThreads(int threads);

}  // namespace understudy
