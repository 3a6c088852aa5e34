// SPDX-License-Identifier: Apache-2.0
#pragma once
/// ISO 15765-2 (transport over CAN), normal addressing, 11 and 29 bit, classic and FD. Pure code: no I/O, no
/// clock; every call carries its time, deadlines are asked for with nextDeadline(). No threads inside.
///
/// Failures and what becomes of them (Failure):
///   bad_length      a PCI that its frame cannot hold, or that is not allowed there: ignored (Pci invalid)
///   timeout_as      our own frame was not confirmed on the bus within N_As: sending ends
///   timeout_bs      no flow control within N_Bs: sending ends
///   timeout_cr      no consecutive frame within N_Cr: receiving ends
///   wrong_sn        sequence number not the expected one: receiving ends
///   invalid_fs      flow status 3..F: sending ends
///   wait_overrun    more FC.WAIT in a row than allowed: sending ends
///   overflow        the other side's FC.OVFLW: sending ends; a first frame above our own maximum is answered
///                   FC.OVFLW and nothing is received
///   unexpected_pdu  a single or first frame while receiving: that reception ends, the new message begins
/// Whatever else was not awaited is ignored.
/// Sources: ISO 15765-2:2016 as quoted by an open-source UDS library's documentation (chapter CAN) and as
/// implemented by the Linux kernel (net/can/isotp.c); figures in core/limits/timing.cpp.

#include <cstddef>
#include <cstdint>
#include <optional>
#include <vector>

#include "core/base/clock.hpp"
#include "core/base/hex.hpp"
#include "core/event/frame.hpp"

namespace pin16::protocol {

/// Padding that ISO 15765-2 names as default; it keeps stuff bits few.
inline constexpr std::uint8_t kPadByte = 0xCC;
/// Largest single frame of a classic CAN frame, normal addressing.
inline constexpr std::size_t kSingleFrameMax = 7;
/// Largest message taken by default: the 12-bit length of the first frame. Every answer that the gate's list
/// can bring is far below; the 32-bit escape exists for downloads, which Pin16 has no part in.
inline constexpr std::size_t kMessageMax = 4095;

enum class PciType : std::uint8_t { single, first, consecutive, flow_control, invalid };
enum class FlowStatus : std::uint8_t { cts = 0, wait = 1, overflow = 2, reserved = 3 };

/// What a frame says about itself. `payload` views the data given to parsePci.
struct Pci {
  PciType type = PciType::invalid;
  std::uint32_t length = 0;          ///< single, first: bytes of the whole message
  std::uint8_t sequence_number = 0;  ///< consecutive: 0..15
  FlowStatus flow_status = FlowStatus::reserved;
  std::uint8_t block_size = 0;  ///< flow control; 0 = no further flow control
  std::uint8_t st_min = 0;      ///< flow control, as on the bus; stMinToNs() decodes
  ByteView payload;  ///< single: the message; first: its beginning; consecutive: the rest of the frame,
                     ///< padding included (who reassembles knows how much of it counts)
};

/// `data` = the data bytes of one frame, 0..64; `fd` = it was an FD frame. Never fails: what is no valid PCI
/// is PciType::invalid (nothing else in it is set then).
[[nodiscard]] Pci parsePci(ByteView data, bool fd);

/// Separation time of an STmin byte: 00-7F ms, F1-F9 100-900 us; reserved values count as 127 ms.
[[nodiscard]] Ns stMinToNs(std::uint8_t st_min);

struct FlowControl {
  FlowStatus status = FlowStatus::cts;
  std::uint8_t block_size = 0;
  std::uint8_t st_min = 0;
  [[nodiscard]] bool operator==(const FlowControl&) const = default;
};

/// Frame data (PCI and payload) with padding: to 8 bytes in a classic frame; FD: to 8, or above that to the
/// next data length that exists (12 16 20 24 32 48 64).
[[nodiscard]] Bytes buildSingle(ByteView message,
                                bool fd);  ///< 1..7 bytes, FD 1..62; empty if it does not fit
[[nodiscard]] Bytes buildFlowControl(const FlowControl& fc);

enum class Failure : std::uint8_t {
  timeout_as,
  timeout_bs,
  timeout_cr,
  wrong_sn,
  invalid_fs,
  wait_overrun,
  overflow,
  unexpected_pdu,
};
/// One sentence for people; names the ISO 15765-2 timer where one ran out.
[[nodiscard]] const char* toText(Failure f);

/// The two identifiers of a conversation: what we send with, what we listen to.
struct Pair {
  std::uint32_t tx_id = 0;
  std::uint32_t rx_id = 0;
  bool extended = false;
};

/// ISO 15765-2 timeouts; the defaults are the general ones (core/limits/timing.cpp names their source).
struct IsoTpTimes {
  Ns n_as_ns = 1000 * kNsPerMs;
  Ns n_bs_ns = 1000 * kNsPerMs;
  Ns n_cr_ns = 1000 * kNsPerMs;
};

/// Puts together what arrives on `pair.rx_id`. One message at a time; owns its buffer.
class Receiver {
 public:
  struct Settings {
    std::uint8_t block_size = 0;     ///< asked of the sender; 0 = all in one go
    std::uint8_t st_min = 0;         ///< asked of the sender
    std::size_t most = kMessageMax;  ///< larger first frames are answered FC.OVFLW
    bool functional = false;         ///< rx_id is a functional address: only single frames are taken
    IsoTpTimes times;
  };
  /// What one frame (or the passing of time) led to; several members can be set.
  struct Output {
    std::optional<Failure> failed;  ///< a reception ended; `partial` is what it had
    Bytes partial;
    std::optional<FlowControl> send;  ///< to be sent now with pair.tx_id
    bool started = false;             ///< a first frame began a message
    std::optional<Bytes> message;     ///< whole
    [[nodiscard]] bool nothing() const { return !failed && !send && !started && !message; }
  };

  explicit Receiver(Pair pair) : Receiver(pair, Settings{}) {}
  Receiver(Pair pair, Settings settings) : pair_(pair), settings_(settings) {}

  /// Frames of other identifiers, remote and error frames are ignored.
  [[nodiscard]] Output onFrame(Ns t_ns, const event::CanFrame& frame);
  /// N_Cr.
  [[nodiscard]] Output onTime(Ns now_ns);
  [[nodiscard]] Ns nextDeadline() const { return receiving_ ? deadline_ns_ : kNoTime; }
  [[nodiscard]] bool receiving() const { return receiving_; }
  [[nodiscard]] const Pair& pair() const { return pair_; }
  /// The frame that carries `fc` to the sender.
  [[nodiscard]] event::CanFrame frame(const FlowControl& fc) const;

 private:
  Output onSingle(const Pci& pci);
  Output onFirst(Ns t_ns, const Pci& pci, std::size_t frame_size);
  Output onConsecutive(Ns t_ns, const Pci& pci, std::size_t frame_size);
  Output abort(Failure why);

  Pair pair_;
  Settings settings_;
  bool receiving_ = false;
  Bytes buffer_;
  std::size_t length_ = 0;      ///< of the message under way
  std::size_t frame_size_ = 0;  ///< of its first frame: all but the last consecutive frame have it
  std::uint8_t expected_sn_ = 0;
  std::uint8_t left_in_block_ = 0;
  Ns deadline_ns_ = kNoTime;
};

/// Sends one message at a time with `pair.tx_id`. One frame is on its way at a time: it is handed out, sent
/// by the caller, and confirmed by onConfirmed() when it was on the bus; that may give the next one.
class Sender {
 public:
  struct Settings {
    bool fd = false;  ///< FD frames of up to 64 bytes
    std::uint16_t waits_max =
        10;  ///< FC.WAIT in a row before giving up (own figure; the standard leaves it open)
    IsoTpTimes times;
  };
  struct Output {
    std::optional<event::CanFrame> send;
    bool done = false;  ///< the whole message was on the bus
    std::optional<Failure> failed;
    [[nodiscard]] bool nothing() const { return !send && !done && !failed; }
  };

  explicit Sender(Pair pair) : Sender(pair, Settings{}) {}
  Sender(Pair pair, Settings settings) : pair_(pair), settings_(settings) {}

  /// Nothing if a message is under way or `message` is empty.
  [[nodiscard]] Output start(Ns now_ns, Bytes message);
  /// The frame handed out last was on the bus.
  [[nodiscard]] Output onConfirmed(Ns t_ns);
  /// Flow control on pair.rx_id; everything else, and flow control not awaited, is ignored. One that arrives
  /// before the confirmation of our first frame (drivers may report so) proves that frame and counts.
  [[nodiscard]] Output onFrame(Ns t_ns, const event::CanFrame& frame);
  /// STmin, N_Bs, N_As.
  [[nodiscard]] Output onTime(Ns now_ns);
  [[nodiscard]] Ns nextDeadline() const { return state_ == State::idle ? kNoTime : deadline_ns_; }
  [[nodiscard]] bool sending() const { return state_ != State::idle; }

 private:
  enum class State : std::uint8_t { idle, confirming, waiting_fc, gap };
  Output give(Ns now_ns, const Bytes& data);
  Output nextConsecutive(Ns now_ns);
  Output consecutiveAfterGap(Ns t_ns);
  Output end(std::optional<Failure> why);
  [[nodiscard]] bool fcComesNext() const { return at_ < message_.size() && left_in_block_ == 0; }

  Pair pair_;
  Settings settings_;
  State state_ = State::idle;
  Bytes message_;
  std::size_t at_ = 0;  ///< bytes handed out
  std::uint8_t next_sn_ = 1;
  std::uint32_t left_in_block_ = 0;  ///< consecutive frames until the next flow control
  std::uint16_t waits_ = 0;
  bool owed_ = false;  ///< flow control overtook the confirmation of the frame before it
  Ns st_min_ns_ = 0;
  bool any_consecutive_ = false;
  Ns last_consecutive_ns_ = kNoTime;  ///< confirmed
  Ns deadline_ns_ = kNoTime;
};

}  // namespace pin16::protocol
