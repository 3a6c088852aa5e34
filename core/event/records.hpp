// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The records of the one stream, as data only. Frames and raw bytes have their own compact form in a batch
/// (batch.hpp); every other record is packed by base/pack.hpp, the same in memory, on the recorder's socket
/// and in the capture (docs/capture-format.md). Members are only ever appended.

#include <cstdint>
#include <string>
#include <vector>

#include "core/base/clock.hpp"
#include "core/base/hex.hpp"

namespace pin16::event {

/// Kind of an event; the number is part of the capture format.
enum class Kind : std::uint8_t {
  // observed
  frame = 1,
  bytes = 2,     ///< raw serial bytes of a link
  sample = 3,    ///< Measurement by an instrument
  link = 4,      ///< LinkState
  clock = 5,     ///< Clock
  loss = 6,      ///< Loss: a known number missing
  gap = 7,       ///< Gap: a span in which nothing could be seen
  damage = 8,    ///< Damage: bytes of a capture that cannot be read (review only)
  sent = 9,      ///< Sent: bytes handed to a link by the gate
  refused = 10,  ///< Refused: a request that the gate did not let out
  power = 11,    ///< Power
  client = 12,   ///< Client: someone attached to or left the recorder
  line = 13,     ///< Line: a whole message of a K-line or J1850 bus
  digest = 14,   ///< Digest: stands for a message whose content was blanked
  // declared
  reading = 32,    ///< Measurement typed by the operator
  note = 33,       ///< Note
  attempt = 34,    ///< Attempt: one try of the other equipment begins or ends
  clearance = 35,  ///< Clearance: an interlock answered
  // concluded: recorded, never input again
  message = 64,   ///< Message
  exchange = 65,  ///< Exchange
  finding = 66,   ///< Finding
  verdict = 67,   ///< Verdict
};

/// No link: events of the whole run.
inline constexpr std::uint16_t kNoLink = 0xFFFF;

/// How silent a link is on its bus.
enum class Silence : std::uint8_t {
  cannot = 0,   ///< acknowledges or searches
  claimed = 1,  ///< the device says so
  proven = 2,   ///< the kernel reports listen-only
};
/// What it means that a link shows a frame of our own, and that it does not.
enum class OwnFrames : std::uint8_t {
  acknowledged = 0,  ///< somebody acknowledged it; not shown: nobody did
  taken = 1,         ///< the adapter has it; whether anybody acknowledged it is not told
  answered = 2,      ///< shown once it was answered; not shown proves nothing
};
[[nodiscard]] constexpr const char* toText(OwnFrames o) {
  constexpr const char* names[] = {"acknowledged", "taken", "answered"};
  return static_cast<std::size_t>(o) < 3 ? names[static_cast<std::size_t>(o)] : "?";
}
enum class Known : std::uint8_t { unknown = 0, no = 1, yes = 2 };

/// What carries the messages of a link; the number is part of the capture format.
enum class Medium : std::uint8_t { can = 0, iso9141_2 = 1, iso14230_4 = 2, j1850_pwm = 3, j1850_vpw = 4 };
[[nodiscard]] constexpr const char* toText(Medium m) {
  constexpr const char* names[] = {"can", "iso9141-2", "iso14230-4", "j1850-pwm", "j1850-vpw"};
  return static_cast<std::size_t>(m) < 5 ? names[static_cast<std::size_t>(m)] : "?";
}
/// On a K-line a session has to be opened (initialisation) before a module answers.
[[nodiscard]] constexpr bool isKLine(Medium m) { return m == Medium::iso9141_2 || m == Medium::iso14230_4; }
enum class LinkCondition : std::uint8_t {
  opening = 0,
  up = 1,
  down = 2,       ///< exists, but is administratively down
  missing = 3,    ///< no such interface or file
  forbidden = 4,  ///< no permission
  gone = 5,       ///< vanished while running
  finished = 6,   ///< a file or scenario came to its end, or closed by us
  failed = 7,
};

/// What is known of a link; emitted at opening and whenever any member changes.
struct LinkState {
  std::string uri;          ///< as the user gave it
  std::string description;  ///< for people
  LinkCondition condition = LinkCondition::opening;
  std::string text;                         ///< what is the matter, one sentence; empty when up
  std::string advice;                       ///< the line that mends it, for instance an `ip link` command
  std::uint32_t bitrate = 0;                ///< bit/s; 0 unknown
  std::uint32_t data_bitrate = 0;           ///< bit/s of the FD data phase; 0 unknown or none
  std::uint16_t sample_point_permille = 0;  ///< 0 unknown
  Known fd = Known::unknown;                ///< FD frames can be carried
  Known listen_only = Known::unknown;
  Silence silence = Silence::cannot;
  std::string controller =
      "unknown";  ///< error-active, error-warning, error-passive, bus-off, stopped, sleeping, unknown
  std::int32_t tx_errors = -1;          ///< transmit error counter; -1 unknown
  std::int32_t rx_errors = -1;          ///< receive error counter; -1 unknown
  std::uint32_t buffer_bytes = 0;       ///< receive buffer granted; 0 not applicable
  std::string time_origin = "unknown";  ///< hardware, kernel, user, adapter, simulated, file
  Ns time_error_ns = -1;                ///< of the times, as far as known; -1 unknown
  std::string driver;                   ///< empty unknown
  bool meter = false;                   ///< an instrument: no bus hangs on it, it carries no frames
  OwnFrames own_frames = OwnFrames::acknowledged;
  /// What this medium cannot show of the bus, a sentence each, its subject before a colon.
  std::vector<std::string> medium_explains;
  Medium medium = Medium::can;  ///< anything but CAN: messages are Line, not frames
  bool session = false;         ///< K-line: initialised by us, and not ended since
  template <class A>
  void fields(A& a) {
    a(uri), a(description), a(condition), a(text), a(advice), a(bitrate), a(data_bitrate);
    a(sample_point_permille), a(fd), a(listen_only), a(silence), a(controller), a(tx_errors), a(rx_errors);
    a(buffer_bytes), a(time_origin), a(time_error_ns), a(driver), a(meter), a(own_frames), a(medium_explains);
    a(medium), a(session);
  }
  [[nodiscard]] bool operator==(const LinkState&) const = default;
};

/// Power state of the module's supply when something was measured.
enum class PowerState : std::uint8_t {
  unknown = 0,
  off = 1,     ///< nothing powered
  source = 2,  ///< source present, module not fed
  on = 3,      ///< module fed
};

/// One value at named points, SPICE notation: V(pin16,pin4), I(feed), R(pin6,pin14), or a plain name for
/// what is only looked at (`lamp`: value 1 lit, 0 dark). Kind sample or reading.
struct Measurement {
  std::string point;
  double value = 0;
  std::string unit;         ///< V, A, ohm, or empty
  double uncertainty = -1;  ///< half width, same unit; -1 not stated
  PowerState power = PowerState::unknown;
  std::string condition;   ///< "10 ohm load", joints opened, what was plugged in; empty none
  std::string instrument;  ///< empty not stated
  double input_ohm = -1;   ///< of a voltmeter; -1 not stated
  std::string by;          ///< who typed it; empty for instruments
  Ns aperture_ns = -1;     ///< integration time; -1 unknown
  /// Half width about the event's time in which the value was taken; -1 unknown.
  Ns time_error_ns = -1;
  template <class A>
  void fields(A& a) {
    a(point), a(value), a(unit), a(uncertainty), a(power), a(condition), a(instrument), a(input_ohm), a(by);
    a(aperture_ns), a(time_error_ns);
  }
};

struct Note {
  std::string text;
  std::string by;
  template <class A>
  void fields(A& a) {
    a(text), a(by);
  }
};

/// One interlock before power, answered by a person (core/readiness/interlocks.hpp).
struct Clearance {
  std::string code;
  Known cleared = Known::unknown;
  std::string by;
  std::string reason;  ///< not known, and overridden because of this
  template <class A>
  void fields(A& a) {
    a(code), a(cleared), a(by), a(reason);
  }
};

/// UTC against the inner clock; first of a run, and whenever it moved by more than 1 ms.
struct Clock {
  Ns boot_ns = 0;
  Ns utc_ns = 0;
  Known synchronised = Known::unknown;
  Ns estimated_error_ns = -1;
  template <class A>
  void fields(A& a) {
    a(boot_ns), a(utc_ns), a(synchronised), a(estimated_error_ns);
  }
};

enum class LossPlace : std::uint8_t { kernel = 0, adapter = 1, queue = 2 };
struct Loss {
  LossPlace place = LossPlace::kernel;
  std::uint64_t count = 0;  ///< newly lost since the last such event
  template <class A>
  void fields(A& a) {
    a(place), a(count);
  }
};

struct Gap {
  Ns from_ns = 0;  ///< last seen, same clock as the event
  Ns to_ns = 0;    ///< first seen again
  std::string reason;
  template <class A>
  void fields(A& a) {
    a(from_ns), a(to_ns), a(reason);
  }
};

struct Damage {
  std::uint64_t offset = 0;  ///< bytes into the file
  std::string reason;
  template <class A>
  void fields(A& a) {
    a(offset), a(reason);
  }
};

struct Sent {
  Bytes frame;          ///< as in the capture: SocketCAN header and data, or serial bytes
  std::string purpose;  ///< "request 09 02", "flow control"
  /// A request directly after a reading of the link's own supply meter: so long after its end; -1 not so.
  double after_poll_ms = -1;
  template <class A>
  void fields(A& a) {
    a(frame), a(purpose), a(after_poll_ms);
  }
};

struct Refused {
  std::string request;  ///< hex of what was asked
  std::string reason;
  template <class A>
  void fields(A& a) {
    a(request), a(reason);
  }
};

struct Power {
  PowerState state = PowerState::unknown;
  std::string how;  ///< "measured", "declared", "inferred"
  std::string text;
  template <class A>
  void fields(A& a) {
    a(state), a(how), a(text);
  }
};

struct Client {
  std::string name;
  bool attached = true;
  std::string text;
  template <class A>
  void fields(A& a) {
    a(name), a(attached), a(text);
  }
};

/// One try of the other equipment begins or ends. From its begin to the end of the recording the gate is shut
/// and, unless `full`, what messages carry is blanked (protocol/envelope.hpp).
struct Attempt {
  bool begins = true;          ///< else it ended
  std::string how;             ///< "command", "operator", "silence", "time", "interrupt"
  std::string rung;            ///< end: as concluded live, never input again; empty not concluded
  std::int32_t power_up = -1;  ///< begin: the number in the job's ledger of the power-up it uses; -1 unknown
  bool full = false;           ///< begin: the job records the authority to keep full content
  std::string changed;         ///< begin: the one thing that differs from the attempt before
  std::string said;            ///< end: what the other program said, word for word
  std::string by;
  template <class A>
  void fields(A& a) {
    a(begins), a(how), a(rung), a(power_up), a(full), a(changed), a(said), a(by);
  }
};

/// HMAC-SHA-256 of a message's whole payload under the run's key; the event's time is its last frame's.
struct Digest {
  std::uint32_t id = 0;
  bool extended = false;
  std::int16_t prefix = -1;  ///< as in Message
  bool mixed = false;
  bool complete = false;
  std::uint32_t length = 0;  ///< bytes digested
  Bytes hmac;
  Ns first_ns = kNoTime;
  template <class A>
  void fields(A& a) {
    a(id), a(extended), a(prefix), a(mixed), a(complete), a(length), a(hmac), a(first_ns);
  }
};

/// A whole message as it was on a K-line or J1850 bus. The check byte (K-line: sum, J1850: CRC) is not in it:
/// of what was received it was right, to what is sent whoever puts the bytes on the line appends it.
struct Line {
  Medium medium = Medium::iso14230_4;
  Bytes header;           ///< as on the line: 3 bytes; ISO 14230-4 also 1, 2 (no addresses) or 4
  Bytes data;             ///< service byte first
  bool ours = false;      ///< sent by us, seen on the line (echo), or known to have been sent
  Ns first_ns = kNoTime;  ///< its first byte began; the event's time is the end of its last
  template <class A>
  void fields(A& a) {
    a(medium), a(header), a(data), a(ours), a(first_ns);
  }
};

/// A whole (or broken off) transport message, ISO 15765-2; of a line medium one Line.
struct Message {
  std::uint32_t id = 0;  ///< identifier; of a line medium the sender's address
  bool extended = false;
  bool complete = false;
  Bytes payload;
  std::string reason;     ///< why incomplete
  Ns first_ns = kNoTime;  ///< its first frame; the event's time is its last
  /// Extended and mixed addressing: the byte before the PCI (N_TA, N_AE); -1 none.
  std::int16_t prefix = -1;
  bool mixed = false;  ///< the prefix is N_AE
  Medium medium = Medium::can;
  Bytes header{};  ///< of a line medium, as on the line
  template <class A>
  void fields(A& a) {
    a(id), a(extended), a(complete), a(payload), a(reason), a(first_ns), a(prefix), a(mixed), a(medium);
    a(header);
  }
};

enum class Ended : std::uint8_t {
  answered = 0,
  negative = 1,
  incomplete = 2,
  silent = 3,
  link_lost = 4,
  not_seen = 5,  ///< the capture ended first
};
[[nodiscard]] constexpr const char* toText(Ended e) {
  constexpr const char* names[] = {"answered", "negative", "incomplete", "silent", "link-lost", "not-seen"};
  return static_cast<std::size_t>(e) < 6 ? names[static_cast<std::size_t>(e)] : "?";
}

/// One request and one module's answer. A functional request gives one exchange per answering module, or a
/// single silent one.
struct Exchange {
  std::uint32_t request_id = 0;
  std::uint32_t answer_id = 0;  ///< of the answer seen or expected; 0 if neither is known
  bool extended = false;
  bool functional = false;
  bool ours = false;  ///< asked by Pin16; else witnessed, and its times are receive times
  Bytes request;
  Bytes answer;  ///< whole payload, positive or negative; empty if none
  Ended ended = Ended::silent;
  bool late = false;          ///< answered later than the limit in force
  std::uint16_t pending = 0;  ///< responses "pending" (7F xx 78) before the end
  double response_ms = -1;    ///< end of request to start of the first answer frame; -1 none
  double complete_ms = -1;    ///< end of request to the last answer frame; -1 none
  /// When the request was seen complete on the bus; ours and not shown by the link: when it was handed over.
  Ns request_ns = kNoTime;
  /// Ours: somebody acknowledged the request. Not so where the link cannot tell (OwnFrames) and nobody
  /// answered.
  bool confirmed = false;
  Ns handed_ns = kNoTime;         ///< ours: given to the link
  double answer_ms = -1;          ///< end of request to the first frame of the final answer; -1 none
  double flow_ms = -1;            ///< first frame of the final answer to its flow control; -1 none
  double separation_min_ms = -1;  ///< between consecutive frames of the final answer; -1 fewer than two
  double separation_max_ms = -1;
  std::vector<double> pending_ms;  ///< end of request to the end of each "pending"
  /// Extended and mixed addressing: the byte before the PCI (N_TA, N_AE) of request and answer; -1 none.
  std::int16_t request_prefix = -1;
  std::int16_t answer_prefix = -1;
  bool mixed = false;       ///< the prefix is N_AE
  double request_ms = -1;   ///< first to last frame of the request; -1 unknown
  double st_min_ms = -1;    ///< asked for by the receiver of the final answer; -1 no flow control seen
  std::uint16_t waits = 0;  ///< FC.WAIT during the final answer
  /// Ours: the request before which the link's device was last read as a meter, with no other request
  /// between: left so long after the end of that reading, milliseconds; -1 not so.
  double after_poll_ms = -1;
  /// Of a line medium request_id and answer_id are addresses (target asked, source of the answer), and an
  /// answer of several messages is joined to what SAE J1979 defines for CAN (protocol/line.hpp).
  Medium medium = Medium::can;
  Bytes request_header;  ///< of a line medium, as on the line
  Bytes answer_header;   ///< the same of the answer's first message
  template <class A>
  void fields(A& a) {
    a(request_id), a(answer_id), a(extended), a(functional), a(ours), a(request), a(answer), a(ended),
        a(late);
    a(pending), a(response_ms), a(complete_ms), a(request_ns);
    a(confirmed), a(handed_ns), a(answer_ms), a(flow_ms), a(separation_min_ms), a(separation_max_ms);
    a(pending_ms), a(request_prefix), a(answer_prefix), a(mixed), a(request_ms), a(st_min_ms), a(waits);
    a(after_poll_ms), a(medium), a(request_header), a(answer_header);
  }
};

struct Finding {
  std::string who;   ///< room or plugin
  std::string code;  ///< stable short name
  std::string text;
  template <class A>
  void fields(A& a) {
    a(who), a(code), a(text);
  }
};

struct Verdict {
  std::string step;
  std::string verdict;
  std::string text;
  template <class A>
  void fields(A& a) {
    a(step), a(verdict), a(text);
  }
};

/// Which Kind a packed record has. Measurement is both sample and reading: name the kind.
template <class T>
inline constexpr Kind kKindOf = Kind::damage;
template <>
inline constexpr Kind kKindOf<LinkState> = Kind::link;
template <>
inline constexpr Kind kKindOf<Note> = Kind::note;
template <>
inline constexpr Kind kKindOf<Clock> = Kind::clock;
template <>
inline constexpr Kind kKindOf<Loss> = Kind::loss;
template <>
inline constexpr Kind kKindOf<Gap> = Kind::gap;
template <>
inline constexpr Kind kKindOf<Damage> = Kind::damage;
template <>
inline constexpr Kind kKindOf<Sent> = Kind::sent;
template <>
inline constexpr Kind kKindOf<Refused> = Kind::refused;
template <>
inline constexpr Kind kKindOf<Power> = Kind::power;
template <>
inline constexpr Kind kKindOf<Client> = Kind::client;
template <>
inline constexpr Kind kKindOf<Line> = Kind::line;
template <>
inline constexpr Kind kKindOf<Attempt> = Kind::attempt;
template <>
inline constexpr Kind kKindOf<Digest> = Kind::digest;
template <>
inline constexpr Kind kKindOf<Message> = Kind::message;
template <>
inline constexpr Kind kKindOf<Exchange> = Kind::exchange;
template <>
inline constexpr Kind kKindOf<Clearance> = Kind::clearance;
template <>
inline constexpr Kind kKindOf<Finding> = Kind::finding;
template <>
inline constexpr Kind kKindOf<Verdict> = Kind::verdict;

}  // namespace pin16::event
