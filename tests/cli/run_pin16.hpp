// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Runs the pin16 program as a user would, with its output caught.

#include <string>
#include <vector>

#include "core/base/result.hpp"

namespace pin16::test {

struct Ran {
  int exit_code = -1;
  std::string out, err;
};
/// Runs PIN16_BINARY with these arguments in `folder`, standard input from `input`.
Ran runPin16(const std::vector<std::string>& arguments, const std::string& folder,
             const std::string& input = "");

/// `pin16 bench SCENARIO --serve DEVICE --at FOLDER` in a process of its own, until the end of the test.
class ServedBench {
 public:
  ServedBench(const std::string& scenario, const std::string& device, const std::string& folder);
  ~ServedBench();
  ServedBench(const ServedBench&) = delete;
  ServedBench& operator=(const ServedBench&) = delete;
  /// What it said when the device could be opened.
  [[nodiscard]] const std::string& ready() const { return ready_; }

 private:
  int pid_ = -1;
  std::string ready_;
};

/// A new empty folder, removed with its content at the end of the test.
class TemporaryFolder {
 public:
  TemporaryFolder();
  ~TemporaryFolder();
  TemporaryFolder(const TemporaryFolder&) = delete;
  TemporaryFolder& operator=(const TemporaryFolder&) = delete;
  [[nodiscard]] const std::string& path() const { return path_; }
  [[nodiscard]] std::string file(const std::string& name) const { return path_ + "/" + name; }

 private:
  std::string path_;
};

std::string readFile(const std::string& path);
void writeFile(const std::string& path, const std::string& text);

}  // namespace pin16::test
