// SPDX-License-Identifier: Apache-2.0
// A plugin in a helper process, seen from the client: every call is a message and waits for its reply, at
// most as long as the patience; a helper that dies or hangs is a finding, never a fault of the client.
#include "core/plugin/apart.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <spawn.h>
#include <sys/socket.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <csignal>
#include <cstdlib>
#include <cstring>

#include "core/base/clock.hpp"
#include "core/base/pack.hpp"
#include "core/plugin/runner.hpp"

namespace pin16::plugin {
namespace {

constexpr std::size_t kHead = 5;

/// Reads exactly `count` bytes.
Got readAll(int fd, Ns deadline_ns, void* to, std::size_t count) {
  auto* at = static_cast<std::uint8_t*>(to);
  while (count != 0) {
    int wait_ms = -1;
    if (deadline_ns != kNoTime) {
      const Ns left_ns = deadline_ns - bootNow();
      if (left_ns <= 0) return Got::timeout;
      wait_ms = static_cast<int>(left_ns / kNsPerMs) + 1;
    }
    pollfd p{fd, POLLIN, 0};
    const int ready = poll(&p, 1, wait_ms);
    if (ready < 0 && errno != EINTR) return Got::closed;
    if (ready <= 0) continue;
    const ssize_t n = read(fd, at, count);
    if (n < 0 && (errno == EINTR || errno == EAGAIN)) continue;
    if (n <= 0) return Got::closed;
    at += n;
    count -= static_cast<std::size_t>(n);
  }
  return Got::message;
}

class Apart : public Runner {
 public:
  Apart(int socket, pid_t pid, Ns patience_ns) : socket_(socket), pid_(pid), patience_ns_(patience_ns) {}
  ~Apart() override { end(); }

  Status load(const std::string& path) {
    const auto reply = call(MessageKind::load, pack(LoadRequest{path}), "loading");
    if (!reply) return Error{ErrorKind::input, std::move(results_.failed), path, ""};
    if (!reply->error.empty()) return Error{ErrorKind::input, reply->error, path, ""};
    results_.facts = reply->results.facts;
    results_.points.resize(results_.facts.series.size());
    results_.counters.resize(results_.facts.counters.size());
    return {};
  }
  [[nodiscard]] const Facts& facts() const override { return results_.facts; }
  void start(const Setup& setup) override {
    PackedSetup p;
    for (const limits::Limit& l : setup.limits.all()) p.limits.push_back({l.name, l.source, l.value});
    p.job = setup.job;
    for (const auto& [name, value] : setup.settings) {
      PackedSetting& s = p.settings.emplace_back();
      s.name = name;
      s.type = static_cast<std::uint32_t>(value.index());
      if (const auto* number = std::get_if<double>(&value)) s.number = *number;
      if (const auto* on = std::get_if<bool>(&value)) s.number = *on ? 1 : 0;
      if (const auto* text = std::get_if<std::string>(&value)) s.text = *text;
    }
    p.asking = setup.asking;
    keep(call(MessageKind::setup, pack(p), "create()"));
  }
  void take(const Chunk& chunk) override {
    if ((chunk.kinds() & results_.facts.kinds) == 0 || !alive()) return;
    Bytes packed;
    chunk.pack(packed);
    keep(call(MessageKind::events, packed, "take()"));
  }
  [[nodiscard]] std::vector<Asked> takeAsked() override { return std::exchange(asked_, {}); }
  void answered(std::uint64_t tag, const event::Exchange* exchange, const std::string& refused) override {
    PackedAnswer a;
    a.tag = tag;
    a.has_exchange = exchange != nullptr;
    if (exchange != nullptr) a.exchange = *exchange;
    a.refused = refused;
    keep(call(MessageKind::answered, pack(a), "answered()"));
  }
  void finish(Ns end_ns) override { keep(call(MessageKind::finish, pack(PackedFinish{end_ns}), "finish()")); }
  [[nodiscard]] Results takeResults() override {
    end();
    return std::move(results_);
  }
  [[nodiscard]] Results takeSoFar() override { return takeFrom(results_); }

 private:
  [[nodiscard]] bool alive() const { return results_.failed.empty() && socket_ >= 0; }

  std::optional<Reply> call(MessageKind kind, ByteView payload, const char* where) {
    if (!alive()) return std::nullopt;
    MessageKind answer{};
    Bytes bytes;
    Reply reply;
    Got got = Got::closed;
    if (sendMessage(socket_, kind, payload))
      got = receiveMessage(socket_, bootNow() + patience_ns_, answer, bytes);
    if (got == Got::message && (answer != MessageKind::reply || !unpack(bytes, reply))) got = Got::garbage;
    switch (got) {
      case Got::message:
        return reply;
      case Got::timeout:
        results_.failed =
            fmt::format("did not come back from {} within {} s: ended", where, toSeconds(patience_ns_));
        break;
      case Got::garbage:
        results_.failed = fmt::format("its process wrote what is no message in {}: ended", where);
        break;
      case Got::closed:
        results_.failed = fmt::format("its process died in {}: {}", where, howItEnded());
        break;
    }
    end();
    return std::nullopt;
  }

  void keep(std::optional<Reply> reply) {
    if (!reply) return;
    append(results_, std::move(reply->results));
    std::move(reply->asked.begin(), reply->asked.end(), std::back_inserter(asked_));
    // What one process may give is bounded there; this end does not believe that.
    for (auto& points : results_.points)
      if (points.size() > kPointsMax) points.resize(kPointsMax);
    if (results_.findings.size() > kFindingsMax) results_.findings.resize(kFindingsMax);
    if (results_.sections.size() > kSectionsMax) results_.sections.resize(kSectionsMax);
    if (results_.evidence.size() > kEvidenceMax) results_.evidence.resize(kEvidenceMax);
  }

  /// Waits for a process that has closed its socket: it is on its way out, or hangs on and is killed.
  std::string howItEnded() {
    int status = 0;
    for (int tries = 0; tries < 100; ++tries) {
      const pid_t done = waitpid(pid_, &status, WNOHANG);
      if (done == pid_) {
        pid_ = -1;
        if (WIFSIGNALED(status))
          return fmt::format("signal {} ({})", WTERMSIG(status), strsignal(WTERMSIG(status)));
        return fmt::format("it ended with code {}", WEXITSTATUS(status));
      }
      poll(nullptr, 0, 10);
    }
    return "it closed its socket";
  }

  void end() {
    if (socket_ >= 0) close(socket_);
    socket_ = -1;
    if (pid_ <= 0) return;
    kill(pid_, SIGKILL);
    waitpid(pid_, nullptr, 0);
    pid_ = -1;
  }

  int socket_;
  pid_t pid_;
  Ns patience_ns_;
  Results results_;
  std::vector<Asked> asked_;
};

}  // namespace

bool sendMessage(int fd, MessageKind kind, ByteView payload) {
  Bytes all(kHead);
  const auto length = static_cast<std::uint32_t>(payload.size());
  std::memcpy(all.data(), &length, sizeof length);
  all[4] = static_cast<std::uint8_t>(kind);
  all.insert(all.end(), payload.begin(), payload.end());
  ByteView left = all;
  while (!left.empty()) {
    // write, not send: the helper may use that only. SIGPIPE is ignored on both ends.
    const ssize_t n = write(fd, left.data(), left.size());
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) return false;
    left = left.subspan(static_cast<std::size_t>(n));
  }
  return true;
}

Got receiveMessage(int fd, Ns deadline_ns, MessageKind& kind, Bytes& payload) {
  std::uint8_t head[kHead];
  if (const Got got = readAll(fd, deadline_ns, head, sizeof head); got != Got::message) return got;
  std::uint32_t length = 0;
  std::memcpy(&length, head, sizeof length);
  if (length > kMessageMax_bytes) return Got::garbage;
  kind = static_cast<MessageKind>(head[4]);
  payload.resize(length);
  return readAll(fd, deadline_ns, payload.data(), length);
}

Result<std::unique_ptr<Runner>> runApart(const std::string& path, Ns patience_ns) {
  signal(SIGPIPE, SIG_IGN);  // a helper that dies between two messages
  int ends[2];
  if (socketpair(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0, ends) != 0)
    return Error{ErrorKind::internal, std::string("no socket pair: ") + std::strerror(errno), "", ""};
  posix_spawn_file_actions_t files;
  posix_spawn_file_actions_init(&files);
  posix_spawn_file_actions_adddup2(&files, ends[1], kHelperSocket);
  posix_spawn_file_actions_addopen(&files, 0, "/dev/null", O_RDONLY, 0);
  posix_spawn_file_actions_addopen(&files, 1, "/dev/null", O_WRONLY, 0);
  posix_spawn_file_actions_addopen(&files, 2, "/dev/null", O_WRONLY, 0);
  posix_spawnattr_t how;
  posix_spawnattr_init(&how);
  posix_spawnattr_setflags(&how, POSIX_SPAWN_SETSID);  // Ctrl-C at the terminal is the client's matter
  std::string program = "pin16", verb = "plugin-helper";
  char* arguments[] = {program.data(), verb.data(), nullptr};
  const char* binary = std::getenv("PIN16_PROGRAM");
  pid_t pid = -1;
  const int fault =
      posix_spawn(&pid, binary != nullptr ? binary : "/proc/self/exe", &files, &how, arguments, environ);
  posix_spawnattr_destroy(&how);
  posix_spawn_file_actions_destroy(&files);
  close(ends[1]);
  if (fault != 0) {
    close(ends[0]);
    return Error{ErrorKind::internal, std::string("no helper process: ") + std::strerror(fault), path, ""};
  }
  auto runner = std::make_unique<Apart>(ends[0], pid, patience_ns);
  if (Status loaded = runner->load(path); !loaded) return loaded.error();
  return std::unique_ptr<Runner>(std::move(runner));
}

}  // namespace pin16::plugin
