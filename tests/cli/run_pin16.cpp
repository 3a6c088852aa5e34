// SPDX-License-Identifier: Apache-2.0
#include "run_pin16.hpp"

#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <stdexcept>

namespace pin16::test {
namespace {
std::string quoted(const std::string& text) {
  std::string out = "'";
  for (const char c : text) out += c == '\'' ? "'\\''" : std::string(1, c);
  return out + "'";
}
}  // namespace

Ran runPin16(const std::vector<std::string>& arguments, const std::string& folder, const std::string& input) {
  const TemporaryFolder own;
  writeFile(own.file("in"), input);
  std::string line = "cd " + quoted(folder) + " && " + quoted(PIN16_BINARY);
  for (const auto& a : arguments) line += " " + quoted(a);
  line += " <" + own.file("in") + " >" + own.file("out") + " 2>" + own.file("err");
  const int status = std::system(line.c_str());
  return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, readFile(own.file("out")), readFile(own.file("err"))};
}

ServedBench::ServedBench(const std::string& scenario, const std::string& device, const std::string& folder) {
  int out[2];
  if (::pipe(out) != 0) throw std::runtime_error("pipe");
  pid_ = ::fork();
  if (pid_ == 0) {
    ::dup2(out[1], STDOUT_FILENO);
    ::close(out[0]);
    ::execl(PIN16_BINARY, "pin16", "bench", scenario.c_str(), "--serve", device.c_str(), "--at",
            folder.c_str(), nullptr);
    ::_exit(99);
  }
  ::close(out[1]);
  for (char c = 0; ::read(out[0], &c, 1) == 1 && c != '\n';) ready_ += c;
  ::close(out[0]);
}
ServedBench::~ServedBench() {
  ::kill(pid_, SIGTERM);
  ::waitpid(pid_, nullptr, 0);
}

TemporaryFolder::TemporaryFolder() {
  std::string pattern = (std::filesystem::temp_directory_path() / "pin16-test-XXXXXX").string();
  path_ = mkdtemp(pattern.data());
}
TemporaryFolder::~TemporaryFolder() {
  std::error_code ignored;
  std::filesystem::remove_all(path_, ignored);
}

std::string readFile(const std::string& path) {
  std::ifstream in(path, std::ios::binary);
  std::stringstream all;
  all << in.rdbuf();
  return all.str();
}
void writeFile(const std::string& path, const std::string& text) {
  std::ofstream(path, std::ios::binary) << text;
}

}  // namespace pin16::test
