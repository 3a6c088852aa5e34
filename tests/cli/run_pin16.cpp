// SPDX-License-Identifier: Apache-2.0
#include "run_pin16.hpp"

#include <fcntl.h>
#include <poll.h>
#include <pty.h>
#include <sys/wait.h>
#include <unistd.h>

#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <stdexcept>
#include <utility>

#include "core/base/clock.hpp"

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
  std::string line = "cd " + quoted(folder) + " && ";
  // Recordings heed each other's attempts: each test has its own.
  if (std::getenv("XDG_RUNTIME_DIR") == nullptr) line += "XDG_RUNTIME_DIR=" + quoted(folder) + " ";
  line += quoted(PIN16_BINARY);
  for (const auto& a : arguments) line += " " + quoted(a);
  line += " <" + own.file("in") + " >" + own.file("out") + " 2>" + own.file("err");
  const int status = std::system(line.c_str());
  return {WIFEXITED(status) ? WEXITSTATUS(status) : -1, readFile(own.file("out")), readFile(own.file("err"))};
}

std::string dialogue(const std::string& folder, std::vector<std::string> arguments,
                     const std::function<std::string(const std::string&)>& answer, int* exit_code) {
  constexpr Ns kPatience_ns = 120 * kNsPerSecond;
  arguments.insert(arguments.begin(), PIN16_BINARY);
  std::vector<char*> argv;
  for (std::string& a : arguments) argv.push_back(a.data());
  argv.push_back(nullptr);
  int terminal = -1;
  const pid_t child = ::forkpty(&terminal, nullptr, nullptr, nullptr);
  if (child == 0) {
    ::setenv("XDG_RUNTIME_DIR", folder.c_str(), 0);
    if (::chdir(folder.c_str()) == 0) ::execv(argv[0], argv.data());
    ::_exit(127);
  }
  std::string all, fresh;
  const Ns until_ns = bootNow() + kPatience_ns;
  for (char piece[4096]; bootNow() < until_ns;) {
    pollfd p{terminal, POLLIN, 0};
    if (::poll(&p, 1, 100) == 0) continue;
    const ssize_t n = ::read(terminal, piece, sizeof piece);
    if (n <= 0) break;  // the program ended
    all.append(piece, static_cast<std::size_t>(n));
    fresh.append(piece, static_cast<std::size_t>(n));
    if (!fresh.ends_with(" > ")) continue;
    const std::string line = answer(fresh) + "\n";
    fresh.clear();
    if (::write(terminal, line.data(), line.size()) < 0) break;
  }
  ::close(terminal);
  int status = 0;
  if (bootNow() >= until_ns) ::kill(child, SIGKILL);
  ::waitpid(child, &status, 0);
  if (exit_code != nullptr) *exit_code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  return all;
}

ServedBench::ServedBench(const std::string& scenario, const std::string& device, const std::string& folder,
                         bool told) {
  int out[2], in[2];
  if (::pipe2(out, O_CLOEXEC) != 0 || ::pipe2(in, O_CLOEXEC) != 0) throw std::runtime_error("pipe");
  pid_ = ::fork();
  if (pid_ == 0) {
    ::dup2(out[1], STDOUT_FILENO);
    ::dup2(in[0], STDIN_FILENO);
    ::execl(PIN16_BINARY, "pin16", "bench", scenario.c_str(), "--serve", device.c_str(), "--at",
            folder.c_str(), told ? "--operator" : nullptr, "-", nullptr);
    ::_exit(99);
  }
  ::close(out[1]);
  ::close(in[0]);
  out_ = out[0];
  in_ = in[1];
  // A line for each device, and the first says that all can be opened.
  ready_ = readLine();
}
ServedBench::~ServedBench() {
  (void)end();
  ::close(out_);
  ::close(in_);
}
std::string ServedBench::readLine() const {
  std::string line;
  for (char c = 0; ::read(out_, &c, 1) == 1 && c != '\n';) line += c;
  return line;
}
void ServedBench::say(const std::string& line) const {
  const std::string text = line + "\n";
  if (::write(in_, text.data(), text.size()) < 0) throw std::runtime_error("the bench is gone");
}
std::string ServedBench::end() {
  if (pid_ < 0) return {};
  ::kill(pid_, SIGTERM);
  std::string last;
  for (std::string line = readLine(); !line.empty(); line = readLine()) last = line;
  ::waitpid(std::exchange(pid_, -1), nullptr, 0);
  return last;
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
