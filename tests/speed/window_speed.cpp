// SPDX-License-Identifier: Apache-2.0
// A long capture in a window: time to the first events without and with a kept index, time a scroll step,
// time to find a moment. As ratios against reading the same file through once (the peer), in one run. Makes
// its own file.
//   window_speed FOLDER [MILLION RECORDS]
#include <fmt/format.h>
#include <sys/resource.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <ctime>
#include <filesystem>
#include <vector>

#include "core/capture/index.hpp"
#include "core/capture/reader.hpp"
#include "core/capture/writer.hpp"

using namespace pin16;

namespace {

/// Of this process: what others do meanwhile is no matter.
Ns cpuNow() {
  timespec t{};
  clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
  return Ns{t.tv_sec} * kNsPerSecond + t.tv_nsec;
}
double since(Ns begin_ns) { return toMs(cpuNow() - begin_ns); }

void generate(const std::string& file, std::uint64_t records) {
  capture::SectionFacts facts;
  facts.utc_offset_ns = 1'790'000'000 * kNsPerSecond;
  auto writer = capture::Writer::create(file, facts);
  if (!writer) std::exit((fmt::print("{}\n", writer.error().text()), 1));
  event::Batch b;
  event::LinkState state;
  state.uri = "socketcan:can0";
  state.condition = event::LinkCondition::up;
  state.bitrate = 500000;
  Ns t_ns = kNsPerSecond;
  b.add(1, t_ns, 0, event::Kind::link, state);
  for (std::uint64_t i = 2; i <= records; ++i) {
    t_ns += 230'000;
    const std::uint8_t data[8] = {
        static_cast<std::uint8_t>(i), static_cast<std::uint8_t>(i >> 8U), 0, 1, 2, 3, 4, 5};
    b.addFrame(i, t_ns, 0, event::CanFrame::make(0x100 + static_cast<std::uint32_t>(i % 40), false, data), 0);
    if (b.headers.size() < event::kBatchEvents) continue;
    if (!(*writer)->take(b) || !(*writer)->flush()) std::exit(1);
    b.clear();
  }
  if (!(*writer)->take(b) || !(*writer)->finish()) std::exit(1);
}

double percentile(std::vector<double> all, double share) {
  std::sort(all.begin(), all.end());
  return all[static_cast<std::size_t>(share * static_cast<double>(all.size() - 1))];
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) return 2;
  const std::string file = std::string(argv[1]) + "/window_speed.pcapng";
  const std::uint64_t records = 1'000'000ULL * (argc > 2 ? std::strtoull(argv[2], nullptr, 10) : 10);
  setenv("XDG_CACHE_HOME", argv[1], 1);
  for (const char* end : {"", ".sha256", ".blocks"}) unlink((file + end).c_str());
  generate(file, records);
  fmt::print("{:.2f} GB, {} million records\n", static_cast<double>(std::filesystem::file_size(file)) / 1e9,
             records / 1'000'000);

  event::Batch batch;
  Ns begin = cpuNow();
  {
    auto reader = capture::Reader::open(file);
    while ((*reader)->next(batch)) {
    }
  }
  const double peer = since(begin);
  fmt::print("peer: reading through once        {:9.1f} ms\n", peer);
  const auto line = [&](const char* what, double ms) {
    fmt::print("{:<33} {:9.3f} ms  {:8.5f} of the peer\n", what, ms, ms / peer);
  };

  begin = cpuNow();
  auto first = capture::Browser::open(file);
  (*first)->grow(256U << 10U);
  (*first)->read(0, 40, batch);
  line("first events, no index yet", since(begin));

  begin = cpuNow();
  const auto facts = capture::factsOf(file);
  auto reader = capture::Reader::open(file);
  (*reader)->keepIndex();
  while ((*reader)->next(batch)) {
  }
  const capture::Index index = (*reader)->takeIndex();
  line("making the index", since(begin));
  begin = cpuNow();
  if (!capture::saveIndex(*facts, index)) return 1;
  line("keeping it", since(begin));

  begin = cpuNow();
  auto second = capture::Browser::open(file);
  auto kept = capture::loadIndex(*capture::factsOf(file));
  if (!kept) return 1;
  (*second)->append(std::move(*kept));
  (*second)->read((*second)->events() / 2, 40, batch);
  line("events of the middle, kept index", since(begin));
  if ((*second)->events() != records) return 1;

  std::vector<double> near, far, found;
  std::uint64_t x = 88172645463325252ULL;
  for (int i = 0; i < 3000; ++i) {
    begin = cpuNow();
    (*second)->read(records / 3 + static_cast<std::uint64_t>(i) * 3, 40, batch);
    near.push_back(since(begin));
    x ^= x << 13U, x ^= x >> 7U, x ^= x << 17U;
    begin = cpuNow();
    (*second)->read(x % (records - 40), 40, batch);
    far.push_back(since(begin));
    const Ns t_ns =
        index.first_ns + static_cast<Ns>(x % static_cast<std::uint64_t>(index.last_ns - index.first_ns));
    begin = cpuNow();
    (void)(*second)->at(t_ns);
    found.push_back(since(begin));
  }
  line("scroll by three rows, median", percentile(near, 0.5));
  line("scroll by three rows, 99 %", percentile(near, 0.99));
  line("jump anywhere, median", percentile(far, 0.5));
  line("jump anywhere, 99 %", percentile(far, 0.99));
  line("find a moment, median", percentile(found, 0.5));
  line("find a moment, 99 %", percentile(found, 0.99));
  rusage use{};
  getrusage(RUSAGE_SELF, &use);
  fmt::print("index {} marks, {} kB; memory at most {} MB\n", index.marks.size(),
             index.marks.size() * sizeof(capture::Mark) / 1024, use.ru_maxrss / 1024);
  for (const char* end : {"", ".sha256", ".blocks"}) unlink((file + end).c_str());
  return 0;
}
