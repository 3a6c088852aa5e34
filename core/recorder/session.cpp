// SPDX-License-Identifier: Apache-2.0
#include "core/recorder/session.hpp"

#include <dirent.h>
#include <fcntl.h>
#include <fmt/format.h>
#include <poll.h>
#include <spawn.h>
#include <sys/socket.h>
#include <sys/stat.h>
#include <sys/un.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <cstdlib>
#include <cstring>

#include "core/recorder/attempt_mark.hpp"

namespace pin16::recorder {
namespace {

using std::chrono::milliseconds;

/// Where this user's recorders have their sockets; made with access for the owner only.
std::string socketFolder() {
  const char* base = std::getenv("XDG_RUNTIME_DIR");
  std::string folder =
      base != nullptr && *base != 0 ? std::string(base) + "/pin16" : fmt::format("/tmp/pin16-{}", getuid());
  mkdir(folder.c_str(), 0700);
  return folder;
}

Status folderIsOurs(const std::string& folder) {
  struct stat s {};
  if (lstat(folder.c_str(), &s) != 0 || !S_ISDIR(s.st_mode) || s.st_uid != getuid() || (s.st_mode & 077) != 0)
    return Error{ErrorKind::record, "the folder for the recorder's socket is not ours alone", folder,
                 "remove it, or set XDG_RUNTIME_DIR to a private folder"};
  return {};
}

Result<int> connectTo(const std::string& path) {
  sockaddr_un address{};
  address.sun_family = AF_UNIX;
  if (path.size() >= sizeof address.sun_path)
    return Error{ErrorKind::usage, "the socket's path is too long", path,
                 "set XDG_RUNTIME_DIR to a shorter folder"};
  std::memcpy(address.sun_path, path.c_str(), path.size() + 1);
  const int fd = socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0);
  if (fd < 0 || connect(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) {
    const Error e{ErrorKind::record, std::string("no recorder answers there: ") + std::strerror(errno), path,
                  "start one with `pin16 listen`"};
    if (fd >= 0) close(fd);
    return e;
  }
  return fd;
}

bool writeAll(int fd, ByteView bytes) {
  while (!bytes.empty()) {
    const ssize_t n = ::send(fd, bytes.data(), bytes.size(), MSG_NOSIGNAL);
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) return false;
    bytes = bytes.subspan(static_cast<std::size_t>(n));
  }
  return true;
}

/// The child's first message: a reply that says whether it listens.
Result<Reply> readStartReply(int fd) {
  Splitter in;
  for (;;) {
    if (const auto piece = in.next()) {
      Reply reply;
      if (unpack(piece->payload, reply)) return reply;
      break;
    }
    const ssize_t n = read(fd, in.room(4096), 4096);
    if (n < 0 && errno == EINTR) continue;
    if (n <= 0) break;
    in.filled(static_cast<std::size_t>(n));
  }
  return Error{ErrorKind::internal, "the recorder process ended while starting", "",
               "run it with PIN16_LOG=debug"};
}

}  // namespace

std::vector<std::string> Session::running() {
  std::vector<std::string> found;
  const std::string folder = socketFolder();
  if (!folderIsOurs(folder)) return found;
  DIR* dir = opendir(folder.c_str());
  if (dir == nullptr) return found;
  while (const dirent* entry = readdir(dir)) {
    const std::string path = folder + "/" + entry->d_name;
    if (!path.ends_with(".sock")) continue;
    if (const auto fd = connectTo(path)) {
      close(*fd);
      found.push_back(path);
    } else {
      unlink(path.c_str());  // its recorder was killed
    }
  }
  closedir(dir);
  std::sort(found.begin(), found.end());
  return found;
}

bool Session::attemptRuns() { return attemptElsewhere(socketFolder() + "/none.sock"); }

Result<std::unique_ptr<Session>> Session::start(Config config) {
  if (config.socket.empty()) {
    const std::string folder = socketFolder();
    if (Status ours = folderIsOurs(folder); !ours) return ours.error();
    config.socket = fmt::format("{}/{}-{}.sock", folder, getpid(), bootNow() % kNsPerSecond);
  }
  int to_child[2];
  int from_child[2];
  if (pipe2(to_child, O_CLOEXEC) != 0 || pipe2(from_child, O_CLOEXEC) != 0)
    return Error{ErrorKind::internal, std::string("no pipe: ") + std::strerror(errno), "", ""};

  posix_spawn_file_actions_t files;
  posix_spawn_file_actions_init(&files);
  posix_spawn_file_actions_adddup2(&files, to_child[0], 0);
  posix_spawn_file_actions_adddup2(&files, from_child[1], 1);
  posix_spawnattr_t how;
  posix_spawnattr_init(&how);
  // Its own session: Ctrl-C at the terminal reaches the client, which then ends the recording in good order.
  posix_spawnattr_setflags(&how, POSIX_SPAWN_SETSID);
  std::string program = "pin16", verb = "record";
  char* arguments[] = {program.data(), verb.data(), nullptr};
  const char* path = std::getenv("PIN16_PROGRAM");
  pid_t pid = -1;
  const int fault =
      posix_spawn(&pid, path != nullptr ? path : "/proc/self/exe", &files, &how, arguments, environ);
  posix_spawnattr_destroy(&how);
  posix_spawn_file_actions_destroy(&files);
  close(to_child[0]);
  close(from_child[1]);
  const Bytes message = pack(config);
  const bool told = fault == 0 && write(to_child[1], message.data(), message.size()) ==
                                      static_cast<ssize_t>(message.size());
  close(to_child[1]);
  Result<Reply> reply = told ? readStartReply(from_child[0])
                             : Error{ErrorKind::internal,
                                     std::string("the recorder process could not be started: ") +
                                         std::strerror(fault != 0 ? fault : errno),
                                     "", ""};
  close(from_child[0]);
  if (reply && !reply->ok) reply = reply->error();
  if (!reply) {
    if (pid > 0) waitpid(pid, nullptr, 0);
    return reply.error();
  }
  auto session = greet(config.socket, config.command, true);
  if (!session) return session.error();
  (*session)->pid_ = pid;
  (*session)->file_ = reply->file;
  (*session)->start_note_ = reply->note;
  return session;
}

Result<std::unique_ptr<Session>> Session::attach(const std::string& socket, const std::string& name) {
  return greet(socket, name, false);
}

Result<std::unique_ptr<Session>> Session::greet(const std::string& socket, const std::string& name,
                                                bool owner) {
  const auto fd = connectTo(socket);
  if (!fd) return fd.error();
  auto session = std::unique_ptr<Session>(new Session);
  session->fd_ = *fd;
  // Batches may come right behind the reply: they are kept for the caller's first sink.
  struct Keep : event::Sink {
    explicit Keep(std::vector<event::Batch>& kept) : kept_(kept) {}
    void take(const event::Batch& batch) override { kept_.push_back(batch); }
    std::vector<event::Batch>& kept_;
  } keep(session->kept_);
  Command hello;
  hello.action = Action::hello;
  hello.text = name;
  hello.owner = owner;
  const auto reply = session->call(hello, keep);
  if (!reply) return reply.error();
  session->file_ = reply->file;
  return session;
}

Session::~Session() {
  if (fd_ >= 0) close(fd_);
  // A recorder that was told to finish is ending now; one that goes on must not be waited for.
  if (pid_ > 0) waitpid(pid_, nullptr, WNOHANG);
}

Error Session::goneError() const {
  return {ErrorKind::record, "the recorder process is gone", file_,
          "what it had written is in the file; `pin16 verify` says how far it is vouched for"};
}

Status Session::receive(event::Sink& sink, milliseconds wait) {
  if (!kept_.empty()) {
    for (const auto& batch : std::exchange(kept_, {})) sink.take(batch);
    wait = milliseconds(0);
  }
  pollfd waiting{fd_, POLLIN, 0};
  const int ready = ::poll(&waiting, 1, static_cast<int>(wait.count()));
  if (ready <= 0) return {};  // time is up, or a signal
  static constexpr std::size_t kChunk = 256U << 10U;
  const ssize_t n = read(fd_, in_.room(kChunk), kChunk);
  if (n < 0 && errno == EINTR) return {};
  if (n <= 0) return goneError();
  in_.filled(static_cast<std::size_t>(n));
  while (const auto piece = in_.next()) {
    if (piece->type == MessageType::batch) {
      if (!decodeBatch(piece->payload, batch_)) return goneError();
      sink.take(batch_);
    } else if (Reply reply; piece->type == MessageType::reply && unpack(piece->payload, reply)) {
      if (reply.id == 0 && !reply.ok) return reply.error();  // unasked: the record failed
      replies_.push_back(std::move(reply));
    }
  }
  if (in_.broken()) return goneError();
  return {};
}

Status Session::poll(event::Sink& sink, milliseconds wait) { return receive(sink, wait); }

Result<std::uint32_t> Session::post(Command command) {
  command.id = next_id_++;
  if (!writeAll(fd_, encode(MessageType::command, pack(command)))) return goneError();
  return command.id;
}

std::optional<Reply> Session::fetch(std::uint32_t id) {
  const auto mine =
      std::find_if(replies_.begin(), replies_.end(), [&](const Reply& r) { return r.id == id; });
  if (mine == replies_.end()) return std::nullopt;
  Reply reply = std::move(*mine);
  replies_.erase(mine);
  return reply;
}

Result<Reply> Session::call(Command command, event::Sink& sink, milliseconds wait) {
  const auto id = post(std::move(command));
  if (!id) return id.error();
  const Ns until = bootNow() + wait.count() * kNsPerMs;
  for (;;) {
    if (auto reply = fetch(*id)) {
      if (!reply->ok) return reply->error();
      return std::move(*reply);
    }
    const Ns left = until - bootNow();
    if (left <= 0)
      return Error{ErrorKind::internal, "the recorder did not reply in time", file_,
                   "run it with PIN16_LOG=debug"};
    if (Status state = receive(sink, milliseconds(left / kNsPerMs + 1)); !state) return state.error();
  }
}

}  // namespace pin16::recorder
