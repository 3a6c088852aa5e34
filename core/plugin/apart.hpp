// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What goes between the client and a plugin's helper process: messages of u32 length, u8 kind, payload
/// (base/pack.hpp) over a stream socket, one answer to each message. Both ends are the same program.

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/base/hex.hpp"
#include "core/event/records.hpp"
#include "core/plugin/local.hpp"
#include "core/plugin/results.hpp"

namespace pin16::plugin {

enum class MessageKind : std::uint8_t {
  load = 1,      ///< LoadRequest; answered by Reply with the plugin's facts
  setup = 2,     ///< PackedSetup
  events = 3,    ///< Chunk::pack
  answered = 4,  ///< PackedAnswer
  finish = 5,    ///< PackedFinish
  reply = 16,    ///< Reply
};
/// Larger ones are no message of ours: the other end is out of order.
inline constexpr std::uint32_t kMessageMax_bytes = 256U << 20U;

struct LoadRequest {
  std::string path;
  template <class A>
  void fields(A& a) {
    a(path);
  }
};
struct PackedLimit {
  std::string name, source;
  double value = 0;
  template <class A>
  void fields(A& a) {
    a(name), a(source), a(value);
  }
};
struct PackedSetting {
  std::string name, text;
  std::uint32_t type = 0;
  double number = 0;
  template <class A>
  void fields(A& a) {
    a(name), a(text), a(type), a(number);
  }
};
struct PackedSetup {
  std::vector<PackedLimit> limits;
  JobFacts job;
  std::vector<PackedSetting> settings;
  bool asking = false;
  template <class A>
  void fields(A& a) {
    a(limits), a(job), a(settings), a(asking);
  }
};
struct PackedAnswer {
  std::uint64_t tag = 0;
  bool has_exchange = false;
  event::Exchange exchange;
  std::string refused;
  template <class A>
  void fields(A& a) {
    a(tag), a(has_exchange), a(exchange), a(refused);
  }
};
struct PackedFinish {
  Ns end_ns = kNoTime;
  template <class A>
  void fields(A& a) {
    a(end_ns);
  }
};
/// After every message: what came since the last reply. `results.failed` not empty: the plugin is ended.
struct Reply {
  std::string error;  ///< loading failed, one line for people
  Results results;
  std::vector<Asked> asked;
  template <class A>
  void fields(A& a) {
    a(error), a(results), a(asked);
  }
};

enum class Got : std::uint8_t { message, closed, timeout, garbage };
/// Sends all of it; false if the other end is gone.
[[nodiscard]] bool sendMessage(int fd, MessageKind kind, ByteView payload);
/// `deadline_ns` CLOCK_BOOTTIME; kNoTime waits for ever.
[[nodiscard]] Got receiveMessage(int fd, Ns deadline_ns, MessageKind& kind, Bytes& payload);

}  // namespace pin16::plugin
