// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The gate: the one place that lets bytes out. It judges a request against the list below, builds the very
/// frame that was judged, and gives the Permit that a link's send() takes. Nobody else can make one.
///
/// The list: OBD 01 (1 to 6 PIDs), 02 (1 to 3 pairs of PID and frame), 03, 06 (one MID), 07, 09 (one
/// infotype), 0A; UDS, physically addressed only: 22 with exactly one identifier F180-F19F, 19 01 and 19 02
/// with a mask, 19 0A. Exact lengths; the "suppress positive response" bit is not on it. Flow control for our
/// own open request, once for each first frame of an answer. On line media (K-line, J1850): OBD as above, but
/// one PID, one pair; on ISO 14230-4, addressed to one module, 1A with one identification 80-9F. On a K-line
/// a permitted request carries the right to initialise (5 baud, or StartCommunication) where no session is
/// open; while our own session is open, 3E (ISO 14230-4) or 01 00 (ISO 9141-2) to keep it and 82 to end it.
/// Nobody can ask for 81, 82 or 3E by themselves.
///
/// Shut: in a sealed job; from shut() on; for 10 s after another tester's frame was seen on any link; on a
/// link whose rate no valid frame has proven, unless the operator vouches for it, named it for a link that
/// hears nothing before it asks (until that link reports an error), or the link has no rate; for
/// the rest of the run when errors burst, or the controller goes bus-off, within 100 ms of our sending; above
/// 5 % of the bus; and for an identifier that another node sends with. Figures: core/limits/timing.cpp
/// ("gate."); a job's own figures count only where they are stricter.
///
/// On line media the first contact wakes modules. The rate follows from the medium, so what stands for its
/// proof is that the operator named it (nameRate(), rate_fixed), or that a whole message was heard. The share
/// of the bus counts on J1850; a K-line belongs to one tester at a time, and its pauses bound us (P3).
///
/// Owner: the recorder, which feeds it every frame and link state before anyone else sees them. One thread.

#include <cstdint>
#include <deque>
#include <map>
#include <optional>
#include <string>
#include <unordered_set>
#include <utility>
#include <vector>

#include "core/base/result.hpp"
#include "core/event/frame.hpp"
#include "core/event/records.hpp"
#include "core/limits/limits.hpp"
#include "core/link/permit.hpp"
#include "core/protocol/isotp.hpp"
#include "core/protocol/target.hpp"

namespace pin16::protocol {

struct GateSettings {
  bool sealed = false;      ///< no stimulus allowed in this job
  bool rate_fixed = false;  ///< the operator vouches for rate and format
  /// Of the job: frames on them, not ours, are another tester's.
  std::vector<std::uint32_t> module_request_ids;
};

/// Bits of a classic frame with 8 data bytes and as many stuff bits as there can be, intermission included:
/// 8s + 47 (67) + floor((34 (54) + 8s - 1) / 4), the bound of the Linux kernel's can/length.h and of the CAN
/// schedulability literature.
[[nodiscard]] constexpr std::uint32_t frameBitsMax(bool extended) {
  return extended ? 64 + 67 + (54 + 64 - 1) / 4 : 64 + 47 + (34 + 64 - 1) / 4;
}

class Gate final {
 public:
  Gate(GateSettings settings, const limits::Limits& limits);

  /// A single frame with `pdu`, padded to 8 bytes. Opens the request: its answer's first frames may be
  /// answered with flow control until closed() or the next request on this link. Every failure is
  /// ErrorKind::gate with the reason.
  [[nodiscard]] Result<link::Permit> request(std::uint16_t link, Ns now_ns, const Target& target,
                                             ByteView pdu);
  /// `target`: the answering module, request_id to send with, answer_id of its first frame. Block size must
  /// be 0 (ISO 15765-4: the tester takes all in one go). It goes out in the format, classic or FD, of that
  /// first frame.
  [[nodiscard]] Result<link::Permit> flowControl(std::uint16_t link, Ns now_ns, const Target& target,
                                                 const FlowControl& fc);
  /// The message that keeps our own session on this K-line, or ends it. Refused as a request is, and where no
  /// session of ours is open, or the medium has no such message.
  [[nodiscard]] Result<link::Permit> keepSession(std::uint16_t link, Ns now_ns);
  [[nodiscard]] Result<link::Permit> endSession(std::uint16_t link, Ns now_ns);
  /// Our session on this ISO 14230-4 line is with other modules than `target`: it has to be ended before a
  /// request to that can begin its own.
  [[nodiscard]] bool inOtherSession(std::uint16_t link, const Target& target) const;
  /// Our request on this link is over.
  void closed(std::uint16_t link) { links_[link].open.reset(); }
  /// From now on nothing is let out any more in this run: hand-over, attempt. The first reason stays.
  void shut(const std::string& reason);
  /// link::Link::rateNamed(). The first error on that link withdraws it, unless a valid frame came before:
  /// who sends at a wrong rate must stop at once (ISO 15765-4:2005, 4.2.1).
  void nameRate(std::uint16_t link) { links_[link].named = true; }
  /// The operator vouches for this link's rate while the run goes on: until it reports an error with nothing
  /// valid before, is lost, or has another rate. ErrorKind::gate where nothing may be sent anyway, and on a
  /// medium other than CAN, which its URI names.
  Status vouchRate(std::uint16_t link);
  /// The refusal of a request is for want of a valid frame only: vouchRate() would open the gate.
  [[nodiscard]] static bool isForWantOfProof(const event::Refused& refused);

  void onFrame(std::uint16_t link, Ns t_ns, const event::CanFrame& frame, bool outbound);
  void onLine(std::uint16_t link, Ns t_ns, const event::Line& line);
  void onLinkState(std::uint16_t link, Ns t_ns, const event::LinkState& state);

  /// The event of a refusal.
  [[nodiscard]] static event::Refused refused(ByteView pdu, const Error& error);

 private:
  struct Open {
    Target target;
    Bytes pdu;
    struct First {
      Ns t_ns = 0;
      bool fd = false;
    };
    std::map<std::uint32_t, First>
        first_frames;  ///< by answer identifier: not yet answered with flow control
  };
  struct LinkFacts {
    std::uint32_t bitrate = 0;  ///< bit/s, 0 unknown
    std::uint32_t data_bitrate = 0;
    bool rateless = false;  ///< simulated, or a virtual interface
    bool proven = false;    ///< a valid frame or message was received at this rate
    bool named = false;     ///< nameRate()
    bool vouched = false;   ///< vouchRate()
    std::string burst;      ///< not empty: shut for the run, and why
    std::deque<Ns> errors;  ///< error frames soon after our own sending
    std::optional<std::pair<Ns, event::CanFrame>> last_sent;
    std::deque<std::pair<Ns, std::uint32_t>> sent;  ///< time and bits, the last second
    std::unordered_set<std::uint32_t> taken;  ///< identifiers (with kExtendedFlag) that other nodes send with
    std::optional<Open> open;
    event::Medium medium = event::Medium::can;
    bool session = false;                                 ///< LinkState::session
    std::optional<Target> session_target;                 ///< of the last request that could begin one
    std::optional<std::pair<Ns, event::Line>> last_line;  ///< sent
  };
  /// For the whole run.
  [[nodiscard]] std::optional<Error> whyShut() const;
  std::optional<Error> whyShut(LinkFacts& facts, Ns now_ns, std::uint32_t bits) const;
  std::optional<Error> whyOverload(LinkFacts& facts, Ns now_ns, std::uint32_t bits) const;
  Result<link::Permit> requestLine(LinkFacts& facts, Ns now_ns, const Target& target, ByteView pdu);
  Result<link::Permit> session(std::uint16_t link, Ns now_ns, ByteView pdu, const char* purpose);
  link::Permit permit(LinkFacts& facts, Ns now_ns, event::Line line, std::optional<link::LineStart> start,
                      std::string purpose);
  link::Permit permit(LinkFacts& facts, Ns now_ns, const event::CanFrame& frame, std::string purpose);
  void onErrorFrame(LinkFacts& facts, Ns t_ns, const event::CanFrame& frame) const;
  void onInbound(std::uint16_t link, LinkFacts& facts, Ns t_ns, const event::CanFrame& frame);
  [[nodiscard]] bool isOurEcho(std::uint16_t link, Ns t_ns, const event::CanFrame& frame) const;
  [[nodiscard]] bool isOurEcho(std::uint16_t link, Ns t_ns, const event::Line& line) const;
  [[nodiscard]] bool isTesters(const event::CanFrame& frame) const;

  GateSettings settings_;
  Ns quiet_ns_;
  double load_max_share_;
  std::size_t burst_count_;
  Ns burst_ns_;
  Ns n_bs_ns_;
  std::string shut_reason_;
  Ns foreign_ns_ = kNoTime;  ///< another tester's last frame
  std::string foreign_id_;
  std::map<std::uint16_t, LinkFacts> links_;
};

}  // namespace pin16::protocol
