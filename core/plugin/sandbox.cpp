// SPDX-License-Identifier: Apache-2.0
#include "core/plugin/sandbox.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <linux/audit.h>
#include <linux/filter.h>
#include <linux/landlock.h>
#include <linux/seccomp.h>
#include <sys/prctl.h>
#include <sys/resource.h>
#include <sys/syscall.h>
#include <unistd.h>

#include <array>
#include <cerrno>
#include <cstddef>
#include <cstring>
#include <vector>

namespace pin16::plugin {
namespace {

#if defined(__x86_64__)
constexpr std::uint32_t kArchitecture = AUDIT_ARCH_X86_64;
#elif defined(__aarch64__)
constexpr std::uint32_t kArchitecture = AUDIT_ARCH_AARCH64;
#else
constexpr std::uint32_t kArchitecture = 0;
#endif

/// Needed by a C library, by loading a shared library and by an allocator; none of them reaches out of the
/// process.
constexpr std::array kAllowed = {
    SYS_read,
    SYS_pread64,
    SYS_readv,
    SYS_close,
    SYS_fstat,
    SYS_newfstatat,
    SYS_statx,
    SYS_lseek,
    SYS_mmap,
    SYS_mprotect,
    SYS_munmap,
    SYS_mremap,
    SYS_brk,
    SYS_madvise,
    SYS_rt_sigaction,
    SYS_rt_sigprocmask,
    SYS_rt_sigreturn,
    SYS_sigaltstack,
    SYS_futex,
    SYS_exit,
    SYS_exit_group,
    SYS_clock_gettime,
    SYS_clock_nanosleep,
    SYS_nanosleep,
    SYS_getrandom,
    SYS_getpid,
    SYS_gettid,
    SYS_getuid,
    SYS_geteuid,
    SYS_getgid,
    SYS_getegid,
    SYS_sched_yield,
    SYS_sched_getaffinity,
    SYS_uname,
    SYS_getcwd,
    SYS_readlinkat,
    SYS_faccessat,
    SYS_ppoll,
    SYS_rseq,
    SYS_set_robust_list,
    SYS_restart_syscall,
    SYS_getdents64,
#if defined(__SANITIZE_ADDRESS__) || defined(__SANITIZE_THREAD__)
    // Sanitizers ask for the size of the stack, and try by a pipe whether memory can be read.
    SYS_prlimit64,
    SYS_pipe2,
    SYS_write,
#if defined(__x86_64__)
    SYS_pipe,
#endif
#endif
#if defined(__x86_64__)
    SYS_stat,
    SYS_lstat,
    SYS_access,
    SYS_readlink,
    SYS_poll,
    SYS_arch_prctl,
    SYS_time,
    SYS_gettimeofday,
#endif
};

class Filter {
 public:
  void add(std::uint16_t code, std::uint32_t k, std::uint8_t yes = 0, std::uint8_t no = 0) {
    lines_.push_back({code, yes, no, k});
  }
  void load(std::size_t offset) { add(BPF_LD | BPF_W | BPF_ABS, static_cast<std::uint32_t>(offset)); }
  void give(std::uint32_t action) { add(BPF_RET | BPF_K, action); }
  /// Skips `lines` unless the loaded word is `value`.
  void unless(std::uint32_t value, std::uint8_t lines) { add(BPF_JMP | BPF_JEQ | BPF_K, value, 0, lines); }
  [[nodiscard]] Status apply() {
    sock_fprog program{static_cast<unsigned short>(lines_.size()), lines_.data()};
    if (prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0) != 0 ||
        prctl(PR_SET_SECCOMP, SECCOMP_MODE_FILTER, &program, 0, 0) != 0)
      return Error{ErrorKind::internal,
                   fmt::format("the kernel gives no seccomp filter: {}", std::strerror(errno)), "",
                   "foreign plugins are not run without it"};
    return {};
  }

 private:
  std::vector<sock_filter> lines_;
};

constexpr std::size_t lowWord(std::size_t argument) {
  return offsetof(seccomp_data, args) + argument * sizeof(std::uint64_t);
}

Status applySeccomp(int socket) {
  if (kArchitecture == 0)
    return Error{ErrorKind::internal, "no list of system calls for this kind of machine", "",
                 "foreign plugins are not run without it"};
  constexpr std::uint32_t refuse = SECCOMP_RET_ERRNO | EPERM;
  Filter f;
  f.load(offsetof(seccomp_data, arch));
  f.unless(kArchitecture, 1);
  f.add(BPF_JMP | BPF_JA, 1);
  f.give(SECCOMP_RET_KILL_PROCESS);
  f.load(offsetof(seccomp_data, nr));
  for (const long call : kAllowed) {
    f.unless(static_cast<std::uint32_t>(call), 1);
    f.give(SECCOMP_RET_ALLOW);
  }
  // Opening: to read only. The flags are the third argument of openat, the second of open.
  const auto readOnly = [&](long call, std::size_t argument) {
    f.unless(static_cast<std::uint32_t>(call), 4);
    f.load(lowWord(argument));
    f.add(BPF_JMP | BPF_JSET | BPF_K, O_WRONLY | O_RDWR | O_CREAT | O_TRUNC | O_APPEND, 1, 0);
    f.give(SECCOMP_RET_ALLOW);
    f.give(refuse);
  };
  readOnly(SYS_openat, 2);
#if defined(__x86_64__)
  readOnly(SYS_open, 1);
#endif
  // Writing: to the host and to where messages go.
  for (const long call : {SYS_write, SYS_writev}) {
    f.unless(static_cast<std::uint32_t>(call), 5);
    f.load(lowWord(0));
    f.unless(static_cast<std::uint32_t>(socket), 1);
    f.give(SECCOMP_RET_ALLOW);
    f.unless(STDERR_FILENO, 1);
    f.give(SECCOMP_RET_ALLOW);
    f.load(offsetof(seccomp_data, nr));
  }
  // A signal to itself (abort) only: the process, and which signal does not matter.
  f.unless(SYS_tgkill, 4);
  f.load(lowWord(0));
  f.unless(static_cast<std::uint32_t>(getpid()), 1);
  f.give(SECCOMP_RET_ALLOW);
  f.give(refuse);
  f.give(refuse);
  return f.apply();
}

/// No writing anywhere in the file system. A kernel without Landlock has the filter above all the same.
void applyLandlock() {
  landlock_ruleset_attr rules{};
  rules.handled_access_fs =
      LANDLOCK_ACCESS_FS_WRITE_FILE | LANDLOCK_ACCESS_FS_REMOVE_DIR | LANDLOCK_ACCESS_FS_REMOVE_FILE |
      LANDLOCK_ACCESS_FS_MAKE_CHAR | LANDLOCK_ACCESS_FS_MAKE_DIR | LANDLOCK_ACCESS_FS_MAKE_REG |
      LANDLOCK_ACCESS_FS_MAKE_SOCK | LANDLOCK_ACCESS_FS_MAKE_FIFO | LANDLOCK_ACCESS_FS_MAKE_BLOCK |
      LANDLOCK_ACCESS_FS_MAKE_SYM | LANDLOCK_ACCESS_FS_EXECUTE;
  const auto set = static_cast<int>(syscall(SYS_landlock_create_ruleset, &rules, sizeof rules, 0));
  if (set < 0) return;
  prctl(PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0);
  syscall(SYS_landlock_restrict_self, set, 0);
  close(set);
}

void limit(int what, rlim_t most) {
  const rlimit value{most, most};
  setrlimit(static_cast<__rlimit_resource>(what), &value);
}

}  // namespace

Status giveUpPowers(int socket) {
  limit(RLIMIT_CORE, 0);
  limit(RLIMIT_FSIZE, 0);
#if !defined(__SANITIZE_ADDRESS__) && !defined(__SANITIZE_THREAD__)
  // Sanitizers reserve terabytes of addresses. 2 GiB: a plugin keeps a summary, not a capture (own figure).
  limit(RLIMIT_AS, rlim_t{2} << 30U);
#endif
  applyLandlock();
  return applySeccomp(socket);
}

}  // namespace pin16::plugin
