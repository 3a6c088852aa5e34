// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Runs the pin16 program as a user would, with its output caught.

#include <functional>
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

/// Runs it on a terminal. `answer` is given what was printed since its last answer, up to a prompt (" > ").
/// Gives all that was printed.
std::string dialogue(const std::string& folder, std::vector<std::string> arguments,
                     const std::function<std::string(const std::string&)>& answer, int* exit_code = nullptr);

/// `pin16 bench SCENARIO --serve DEVICE --at FOLDER` in a process of its own, until the end of the test.
class ServedBench {
 public:
  /// `told`: power and read-out come when say() says so.
  ServedBench(const std::string& scenario, const std::string& device, const std::string& folder,
              bool told = false);
  ~ServedBench();
  ServedBench(const ServedBench&) = delete;
  ServedBench& operator=(const ServedBench&) = delete;
  /// What it said when the device could be opened.
  [[nodiscard]] const std::string& ready() const { return ready_; }
  void say(const std::string& line) const;  ///< "power on", "power off", "read-out"
  /// Ends it; its last line, what was really done.
  std::string end();

 private:
  [[nodiscard]] std::string readLine() const;
  int pid_ = -1;
  int out_ = -1, in_ = -1;
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
