// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A folder that goes away, the bench served by a child process, and what a host heard of a meter.

#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <string>
#include <vector>

#include "core/bench/bench.hpp"
#include "core/bench/serve.hpp"
#include "tests/link/link_double.hpp"

namespace pin16::supply {

class Folder {
 public:
  Folder() {
    std::string pattern = (std::filesystem::temp_directory_path() / "pin16-supply-XXXXXX").string();
    path_ = ::mkdtemp(pattern.data());
  }
  ~Folder() {
    std::error_code ignored;
    std::filesystem::remove_all(path_, ignored);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  [[nodiscard]] std::string file(const std::string& name) const { return path_ + "/" + name; }
  [[nodiscard]] const std::string& path() const { return path_; }
  /// Writes a file, its folders made.
  void put(const std::string& name, const std::string& text) const {
    const std::filesystem::path at = file(name);
    std::filesystem::create_directories(at.parent_path());
    std::ofstream(at) << text;
  }

 private:
  std::string path_;
};

/// serve() in a child process; ready once the constructor returns.
class ServedBench {
 public:
  ServedBench(const bench::Scenario& scenario, const bench::ServeOptions& options) {
    int out[2];
    if (::pipe(out) != 0) throw std::runtime_error("pipe");
    pid_ = ::fork();
    if (pid_ == 0) {
      const auto served = bench::serve(scenario, options, [&](const bench::Served& d) {
        std::ostringstream line;
        line << d.device << ' ' << d.port << ' ' << d.start_boot_ns << '\n';
        const std::string text = line.str();
        if (::write(out[1], text.data(), text.size()) < 0) ::_exit(99);
      });
      ::_exit(served ? 0 : exitCode(served.error().kind));
    }
    ::close(out[1]);
    std::string text;
    std::size_t lines = 0;
    for (char c = 0; lines < options.devices.size() && ::read(out[0], &c, 1) == 1;) {
      text += c;
      if (c == '\n') ++lines;
    }
    ::close(out[0]);
    std::istringstream in(text);
    std::string device;
    int number = 0;
    while (in >> device >> number >> start_boot_ns)
      if (number != 0) port = number;
    if (lines < options.devices.size()) throw std::runtime_error("the bench is not served");
  }
  ~ServedBench() { stop(SIGTERM); }
  ServedBench(const ServedBench&) = delete;
  ServedBench& operator=(const ServedBench&) = delete;
  void stop(int signal) {
    if (pid_ <= 0) return;
    ::kill(pid_, signal);
    ::waitpid(pid_, nullptr, 0);
    pid_ = -1;
  }

  int port = 0;
  Ns start_boot_ns = 0;

 private:
  pid_t pid_ = -1;
};

struct Sample {
  Ns t_ns;
  event::Measurement m;
};

inline std::vector<Sample> samplesOf(const link::KeepingHost& host) {
  std::vector<Sample> all;
  for (const auto& r : host.records) {
    event::Measurement m;
    if (r.kind == event::Kind::sample && unpack(r.packed, m)) all.push_back({r.t_boot_ns, m});
  }
  return all;
}

}  // namespace pin16::supply
