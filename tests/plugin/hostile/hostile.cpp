// SPDX-License-Identifier: Apache-2.0
// A plugin that misbehaves. Which way is told by the name of its file, so that one library serves as all of
// them.
#include <dlfcn.h>
#include <fcntl.h>
#include <pthread.h>
#include <sys/socket.h>
#include <unistd.h>

#include <csignal>
#include <cstdlib>
#include <cstring>
#include <stdexcept>
#include <string>
#include <thread>

#include "pin16/plugin.h"

namespace {

std::string mode() {
  Dl_info info{};
  dladdr(reinterpret_cast<void*>(&mode), &info);
  const std::string path = info.dli_fname;
  const std::string file = path.substr(path.rfind('/') + 1);
  return file.substr(0, file.rfind('.'));
}
bool is(const char* name) { return mode() == name; }

const pin16_host* host = nullptr;
pin16_text text(const char* s) { return {s, std::strlen(s)}; }
void say(const char* code) {
  pin16_finding f{};
  f.code = text(code);
  f.text = text("from a hostile plugin");
  f.confidence = 1;
  f.link = PIN16_NO_LINK;
  host->finding(host->context, &f);
}
int* nowhere = nullptr;
int deep(int n) {
  volatile char much[4096];
  much[n % 4096] = 1;
  return deep(n + 1) + much[0];
}

struct AtLoad {
  AtLoad() {
    if (is("throws-at-load")) throw std::runtime_error("at load");
    if (is("exits-at-load")) _exit(0);
    if (is("hangs-at-load"))
      for (;;) pause();
  }
} at_load;

void* create(const pin16_host* given) {
  host = given;
  if (is("throws-in-create")) throw std::runtime_error("in create");
  if (is("gives-nothing")) return nullptr;
  static int self = 0;
  return &self;
}
void take(void*, const pin16_event* events, size_t count) {
  static bool first = true;
  if (first) say("alive");
  first = false;
  if (is("throws")) throw std::runtime_error("in take");
  if (is("throws-a-number")) throw 7;
  if (is("never-returns"))
    for (volatile int i = 0;; i = i + 1) {
    }
  if (is("floods")) {
    for (int i = 0; i < 100000; ++i) say("flood");
    for (int i = 0; i < 3000000; ++i) host->sample(host->context, 0, i, i, -1);
  }
  if (is("garbage-sizes")) {
    pin16_finding f{};
    f.code = {reinterpret_cast<const char*>(8),
              1000};  // longer than any text, pointing nowhere: 8 is never read
    f.code.size = SIZE_MAX;
    f.confidence = 1;
    host->finding(host->context, &f);
    f.code = text("sized");
    f.text = text("");
    f.figures = nullptr;
    f.figure_count = SIZE_MAX;
    host->finding(host->context, &f);
    f.figure_count = 0;
    f.event_count = SIZE_MAX;
    host->finding(host->context, &f);
    f.event_count = 0;
    f.confidence = 1e300;
    host->finding(host->context, &f);
    f.confidence = 1;
    f.text = text("\xff\xfe");
    host->finding(host->context, &f);
    host->finding(host->context, nullptr);
    host->sample(host->context, 77, 0, 1, 1);
    host->count(host->context, 99, 1);
  }
  if (is("reads-null")) *nowhere = 1;
  if (is("exits")) std::exit(0);
  if (is("aborts")) std::abort();
  if (is("frees-twice")) {
    void* p = std::malloc(64);
    std::free(p);
    std::free(p);
  }
  if (is("overruns-stack")) deep(1);
  if (is("forks")) say(fork() == -1 ? "fork-refused" : "forked");
  if (is("starts-thread")) {
    pthread_t other;
    const int fault = pthread_create(
        &other, nullptr, [](void*) -> void* { return nullptr; }, nullptr);
    say(fault != 0 ? "thread-refused" : "thread-started");
  }
  if (is("opens-socket")) say(socket(AF_INET, SOCK_STREAM, 0) == -1 ? "socket-refused" : "socket-opened");
  if (is("writes-file"))
    say(open("/tmp/pin16-hostile-was-here", O_CREAT | O_WRONLY, 0600) == -1 ? "write-refused" : "written");
  if (is("deletes-file")) say(unlink("/etc/hostname") == -1 ? "delete-refused" : "deleted");
  if (is("kills-parent")) say(kill(getppid(), SIGTERM) == -1 ? "kill-refused" : "killed");
  if (is("runs-program")) {
    char* const none[] = {nullptr};
    execve("/bin/true", none, none);
    say("exec-refused");
  }
  if (is("writes-to-host")) {
    const char junk[] = "\xff\xff\xff\xff\xff not a message of anybody";
    for (int i = 0; i < 4; ++i)
      if (write(3, junk, sizeof junk) < 0) break;
  }
  if (is("writes-events")) {
    for (size_t i = 0; i < count; ++i)
      std::memset(const_cast<void*>(events[i].body), 0xFF, events[i].body_size);
  }
  if (is("eats-memory"))
    for (;;) {
      void* p = std::malloc(64U << 20U);
      if (p == nullptr) throw std::bad_alloc();
      std::memset(p, 1, 64U << 20U);
    }
}
void answered(void*, uint64_t, const pin16_exchange*, pin16_text) {}
void finish(void*, int64_t) {
  if (is("throws-in-finish")) throw std::runtime_error("in finish");
  if (is("hangs-in-finish"))
    for (;;) pause();
}
void destroy(void*) {
  if (is("throws-in-destroy")) throw std::runtime_error("in destroy");
}

constexpr char kName[] = "hostile";
const pin16_series series[] = {{{"noise", 5}, {"V", 1}, {"", 0}, PIN16_CHART_LINE, 0, {"", 0}, {"", 0}}};

}  // namespace

extern "C" PIN16_EXPORT const pin16_card pin16_plugin_card = PIN16_CARD_HERE;
extern "C" PIN16_EXPORT const pin16_plugin pin16_plugin_1 = {sizeof(pin16_plugin),
                                                             PIN16_PLUGIN_MINOR,
                                                             {kName, sizeof kName - 1},
                                                             {"1", 1},
                                                             {"misbehaves", 10},
                                                             ~UINT64_C(0),
                                                             0,
                                                             0,
                                                             nullptr,
                                                             0,
                                                             series,
                                                             1,
                                                             nullptr,
                                                             0,
                                                             create,
                                                             take,
                                                             answered,
                                                             finish,
                                                             destroy};
