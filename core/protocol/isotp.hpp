// SPDX-License-Identifier: Apache-2.0
#pragma once
/// ISO 15765-2 (transport over CAN), every addressing, 11 and 29 bit, classic and FD. Pure code: no I/O, no
/// clock; every call carries its time, deadlines are asked for with nextDeadline(). No threads inside.
///
/// Failures and what becomes of them (Failure):
///   bad_length      a PCI that its frame cannot hold, or that is not allowed there: ignored (Pci invalid)
///   timeout_as      our own frame was not confirmed on the bus within N_As: sending ends
///   timeout_ar      our flow control was not confirmed on the bus within N_Ar: receiving ends
///   timeout_bs      no flow control within N_Bs: sending ends
///   timeout_cs      our owner came too late to send the next consecutive frame within N_Cs, its receiver has
///                   given up: sending ends
///   timeout_cr      no consecutive frame within N_Cr: receiving ends
///   wrong_sn        sequence number not the expected one: receiving ends
///   invalid_fs      flow status 3..F: sending ends
///   wait_overrun    more FC.WAIT in a row than allowed, received: sending ends; sent: receiving ends
///   overflow        the other side's FC.OVFLW: sending ends; a first frame above our own maximum is answered
///                   FC.OVFLW and nothing is received
///   unexpected_pdu  a single or first frame while receiving: that reception ends, the new message begins
///   not_single      a functionally addressed message that needs more than a single frame: not sent
/// Whatever else was not awaited is ignored. N_Br (first frame or end of block to flow control) is kept by
/// answering within the call, or while held by FC.WAIT.
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

/// How the address of a message lies in its frames. What stands before the PCI in every frame of a message is
/// one byte, the prefix:
///   normal        identifiers alone, 11 or 29 bit
///   normal_fixed  29 bit, the addresses are in the identifier: 18DA target source, functional 18DB
///   extended      11 or 29 bit; prefix = N_TA, the address of the node the frame goes to
///   mixed         prefix = N_AE, the address extension, the same both ways; 11 bit with any identifiers, 29
///   bit
///                 with the addresses in the identifier: 18CE target source, functional 18CD
enum class Addressing : std::uint8_t { normal, normal_fixed, extended, mixed };
/// Bytes before the PCI: 0 or 1.
[[nodiscard]] constexpr std::size_t prefixSize(Addressing a) {
  return a == Addressing::extended || a == Addressing::mixed ? 1 : 0;
}

/// What a 29-bit identifier of normal fixed or mixed addressing says (priority 6, as the standard defaults
/// to).
struct FixedId {
  bool mixed = false;
  bool functional = false;
  std::uint8_t target = 0;  ///< N_TA
  std::uint8_t source = 0;  ///< N_SA
  [[nodiscard]] bool operator==(const FixedId&) const = default;
};
[[nodiscard]] std::uint32_t fixedId(const FixedId& id);
/// Nothing if it is none of the four.
[[nodiscard]] std::optional<FixedId> parseFixedId(std::uint32_t id29);

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

/// `data` = the data bytes of one frame, 0..64; `fd` = it was an FD frame; `prefix` = bytes before the PCI,
/// prefixSize(). Never fails: what is no valid PCI is PciType::invalid (nothing else in it is set then).
[[nodiscard]] Pci parsePci(ByteView data, bool fd, std::size_t prefix = 0);

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
/// 1..7 bytes, FD 1..62, one less with a prefix; empty if it does not fit.
[[nodiscard]] Bytes buildSingle(ByteView message, bool fd, std::optional<std::uint8_t> prefix = std::nullopt);
[[nodiscard]] Bytes buildFlowControl(const FlowControl& fc,
                                     std::optional<std::uint8_t> prefix = std::nullopt);

enum class Failure : std::uint8_t {
  timeout_as,
  timeout_ar,
  timeout_bs,
  timeout_cs,
  timeout_cr,
  wrong_sn,
  invalid_fs,
  wait_overrun,
  overflow,
  unexpected_pdu,
  not_single,
};
/// One sentence for people; names the ISO 15765-2 timer where one ran out.
[[nodiscard]] const char* toText(Failure f);

/// The two addresses of a conversation: what we send with, what we listen to.
struct Pair {
  std::uint32_t tx_id = 0;
  std::uint32_t rx_id = 0;
  bool extended = false;  ///< 29 bit
  Addressing addressing = Addressing::normal;
  std::uint8_t tx_prefix = 0;  ///< extended: the other node's address; mixed: the address extension
  std::uint8_t rx_prefix = 0;  ///< extended: our own address; mixed: the address extension

  [[nodiscard]] static Pair normalFixed(std::uint8_t target, std::uint8_t source);
  /// 29 bit.
  [[nodiscard]] static Pair mixed(std::uint8_t target, std::uint8_t source, std::uint8_t extension);
  [[nodiscard]] std::size_t prefixSize() const { return protocol::prefixSize(addressing); }
  [[nodiscard]] std::optional<std::uint8_t> prefix() const {
    return prefixSize() == 0 ? std::nullopt : std::optional(tx_prefix);
  }
  /// A data frame that comes to us.
  [[nodiscard]] bool receives(const event::CanFrame& frame) const;
  [[nodiscard]] bool operator==(const Pair&) const = default;
};

/// ISO 15765-2 times; the defaults are the general ones (core/limits/timing.cpp names their source).
struct IsoTpTimes {
  Ns n_as_ns = 1000 * kNsPerMs;
  Ns n_ar_ns = 1000 * kNsPerMs;
  Ns n_bs_ns = 1000 * kNsPerMs;
  Ns n_cr_ns = 1000 * kNsPerMs;
  /// N_Br and N_Cs are no timeouts but what a sound node keeps: with N_Ar (N_As) below 0.9 of the other
  /// side's N_Bs (N_Cr). Half of that leaves the other half to the bus (own figure).
  Ns n_br_ns = 450 * kNsPerMs;
  Ns n_cs_ns = 900 * kNsPerMs;  ///< after this nothing can arrive in time any more
};

/// Most FC.WAIT in a row, N_WFTmax (own figure; the standard leaves it open).
inline constexpr std::uint16_t kWaitsMax = 10;

/// Puts together what arrives on `pair`. One message at a time; owns its buffer.
class Receiver {
 public:
  struct Settings {
    std::uint8_t block_size = 0;     ///< asked of the sender; 0 = all in one go
    std::uint8_t st_min = 0;         ///< asked of the sender
    std::size_t most = kMessageMax;  ///< larger first frames are answered FC.OVFLW
    bool functional = false;         ///< rx_id is a functional address: only single frames are taken
    /// Each FC.CTS waits for proceed(); meanwhile FC.WAIT every N_Br.
    bool hold = false;
    std::uint16_t waits_max = kWaitsMax;  ///< FC.WAIT in a row before giving up; 0 = none is sent
    IsoTpTimes times;
  };
  /// What one frame (or the passing of time) led to; several members can be set.
  struct Output {
    std::optional<Failure> failed;  ///< a reception ended; `partial` is what it had
    Bytes partial;
    std::optional<FlowControl> send;  ///< to be sent now, as frame() has it
    bool started = false;             ///< a first frame began a message
    std::optional<Bytes> message;     ///< whole
    [[nodiscard]] bool nothing() const { return !failed && !send && !started && !message; }
  };

  explicit Receiver(Pair pair) : Receiver(pair, Settings{}) {}
  Receiver(Pair pair, Settings settings) : pair_(pair), settings_(settings) {}

  /// Frames of other addresses, remote and error frames are ignored.
  [[nodiscard]] Output onFrame(Ns t_ns, const event::CanFrame& frame);
  /// The flow control handed out last was on the bus: N_Ar ends, N_Cr begins. A consecutive frame proves it
  /// as well. Who cannot know calls this at once.
  void onConfirmed(Ns t_ns);
  /// `hold`: there is room, let the sender continue.
  [[nodiscard]] Output proceed(Ns now_ns);
  /// N_Ar, N_Br, N_Cr.
  [[nodiscard]] Output onTime(Ns now_ns);
  [[nodiscard]] Ns nextDeadline() const { return receiving() ? deadline_ns_ : kNoTime; }
  [[nodiscard]] bool receiving() const { return state_ != State::idle; }
  [[nodiscard]] const Pair& pair() const { return pair_; }
  /// The frame that carries `fc` to the sender, in the format of its first frame: the Linux kernel takes no
  /// other on an FD channel.
  [[nodiscard]] event::CanFrame frame(const FlowControl& fc) const;

 private:
  enum class State : std::uint8_t { idle, holding, confirming, receiving };
  Output onSingle(const Pci& pci);
  Output onFirst(Ns t_ns, const Pci& pci, std::size_t frame_size);
  Output onConsecutive(Ns t_ns, const Pci& pci, std::size_t frame_size);
  void flow(Ns t_ns, Output& out);
  void give(Ns t_ns, FlowStatus status, Output& out);
  Output abort(Failure why);

  Pair pair_;
  Settings settings_;
  State state_ = State::idle;
  bool fd_ = false;  ///< format of the first frame
  Bytes buffer_;
  std::size_t length_ = 0;      ///< of the message under way
  std::size_t frame_size_ = 0;  ///< of its first frame: all but the last consecutive frame have it
  std::uint8_t expected_sn_ = 0;
  std::uint8_t left_in_block_ = 0;
  bool held_ = false;        ///< FC.CTS is owed
  std::uint16_t waits_ = 0;  ///< FC.WAIT sent in a row
  std::uint16_t unconfirmed_ =
      0;  ///< flow controls handed out: a consecutive frame can overtake their report
  Ns deadline_ns_ = kNoTime;
};

/// Sends one message at a time to `pair`. One frame is on its way at a time: it is handed out, sent by the
/// caller, and confirmed by onConfirmed() when it was on the bus; that may give the next one.
class Sender {
 public:
  struct Settings {
    bool fd = false;                      ///< FD frames of up to tx_dl bytes
    std::uint8_t tx_dl = 64;              ///< with fd: 8 12 16 20 24 32 48 64
    bool functional = false;              ///< tx_id is a functional address: single frames only
    std::uint16_t waits_max = kWaitsMax;  ///< FC.WAIT in a row before giving up
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
  /// STmin, N_As, N_Bs, N_Cs.
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
  [[nodiscard]] std::size_t frameMax() const;

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
  Ns free_ns_ = kNoTime;              ///< since when only STmin keeps the next one back: N_Cs runs
  Ns deadline_ns_ = kNoTime;
};

}  // namespace pin16::protocol
