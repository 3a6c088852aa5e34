// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What the steps need from the stream, gathered as it passes: a Sink that keeps sums, not events.
/// Observed and declared events count. Of the concluded ones only exchanges of our own asking do: who watches
/// the wires (protocol::Witness) hands witnessed ones in by add(). One owner, one thread.

#include <array>
#include <cstdint>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <unordered_map>
#include <unordered_set>
#include <utility>
#include <vector>

#include "core/event/batch.hpp"

namespace pin16::readiness {

/// One point in one power state and condition. A typed reading replaces what was there before it: it is the
/// newer truth; later samples add to it. A change of power starts the samples of the fed module anew.
struct PointFacts {
  std::string point;
  event::PowerState power = event::PowerState::unknown;
  std::string condition;
  std::string unit;
  double last = 0, min = 0, max = 0, sum = 0;
  std::uint64_t count = 0;
  double uncertainty = -1;  ///< largest stated half width; -1 none stated
  std::string instrument;
  bool typed = false;            ///< the last value was a reading
  std::optional<double> before;  ///< of two readings of the same, the value of the one before
  std::uint64_t order = 0;       ///< grows with each value taken: the larger the newer
  [[nodiscard]] double mean() const { return count == 0 ? 0 : sum / static_cast<double>(count); }
  /// Current flowed: the module was fed, or the condition names a load.
  [[nodiscard]] bool loaded() const;
};

/// What meters showed at one supply point in the course of time, the module fed. Old samples are thinned out
/// where nothing happened; times are the batches'.
struct Trace {
  struct At {
    Ns t_ns = 0;
    double value = 0;
  };
  std::string point;
  std::vector<At> samples;
  double uncertainty = -1;  ///< largest stated half width
  Ns aperture_ns = -1;      ///< last stated; -1 unknown
};

struct LinkFacts {
  event::LinkState state;
  bool ever_up = false;
  std::uint64_t frames = 0;          ///< data and remote frames of others
  std::uint64_t own_frames = 0;      ///< sent by this link
  std::uint64_t error_frames = 0;    ///< that tell of a disturbed bus, and not only of a missing acknowledge
  std::uint64_t unacknowledged = 0;  ///< of what this link sent
  std::uint64_t others_unacknowledged = 0;  ///< error frames at the acknowledge of somebody else's frame
  std::uint64_t own_bit_errors = 0;         ///< other errors while this link sent
  std::uint64_t repeats = 0;                ///< frames that came again at once, byte for byte
  event::CanFrame last_frame;
  Ns last_frame_ns = kNoTime;
  bool bus_off = false;                                  ///< now; a restart ends it
  std::map<std::uint32_t, std::uint64_t> error_classes;  ///< class bit of linux/can/error.h -> frames
};

/// One finished exchange, without its payloads.
struct ExchangeFacts {
  std::uint16_t link = event::kNoLink;
  std::uint32_t request_id = 0, answer_id = 0;
  bool extended = false, functional = false, ours = false, late = false;
  event::Ended ended = event::Ended::silent;
  std::uint16_t pending = 0;
  std::uint8_t negative_code = 0;  ///< of 7F xx code; 0 none
  double response_ms = -1;
  Ns request_ns = kNoTime;
  double came_after_ms = -1;  ///< silent, but the answer's first frame came this long after the request
  event::Medium medium = event::Medium::can;
  bool confirmed = false;  ///< as event::Exchange::confirmed
};

/// Frames that had come regularly stopped and began again, the link up all the while and power not touched:
/// their sender restarted, or slept.
struct Restart {
  Ns stopped_ns = kNoTime, began_ns = kNoTime;
};

/// An interlock's newest answer.
struct Cleared {
  event::Clearance clearance;
  Ns t_ns = kNoTime;
};

class Evidence : public event::Sink {
 public:
  /// The module whose answers show that it is fed, until a power event says otherwise.
  void setModule(std::uint32_t answer_id, bool extended) { module_ = {answer_id, extended}; }
  /// The same on K-line and J1850.
  void setLineModule(std::uint8_t address) { line_module_ = address; }
  void take(const event::Batch& batch) override;
  /// A reading of the job file, or typed outside the stream.
  void add(const event::Measurement& m, bool typed, Ns t_ns = kNoTime);
  void add(const event::Exchange& e, std::uint16_t link);
  /// Time passed without an event; same clock as the batches.
  void observedUntil(Ns t_ns);

  /// Newest facts of the point that `wanted` lets pass, or null.
  [[nodiscard]] const PointFacts* newest(std::string_view point,
                                         const std::function<bool(const PointFacts&)>& wanted = {}) const;
  [[nodiscard]] const std::vector<PointFacts>& points() const { return points_; }
  /// By number, meters among them.
  [[nodiscard]] const std::vector<LinkFacts>& links() const { return links_; }
  /// Those to a bus.
  [[nodiscard]] std::vector<const LinkFacts*> buses() const;
  [[nodiscard]] const std::vector<ExchangeFacts>& exchanges() const { return exchanges_; }
  [[nodiscard]] std::uint64_t frames() const;
  [[nodiscard]] std::uint64_t errorFrames() const;
  [[nodiscard]] std::uint64_t unacknowledged() const;
  [[nodiscard]] std::uint64_t othersUnacknowledged() const;
  /// Samples of a supply point with the module fed, or null.
  [[nodiscard]] const Trace* trace(std::string_view point) const;
  /// Since the module's power came on, or in all if nobody said when.
  [[nodiscard]] const std::vector<Restart>& restarts() const { return restarts_; }
  /// When the module's power came on, by the power events; each change from another state.
  [[nodiscard]] const std::vector<Ns>& powerOns() const { return power_ons_; }
  [[nodiscard]] std::size_t distinctIds() const { return ids_.size(); }
  /// A frame with the module's own answer identifier was heard; any other one was.
  [[nodiscard]] bool moduleHeard() const { return module_heard_; }
  [[nodiscard]] bool othersHeard() const { return others_heard_; }
  /// Bytes handed to a link by the gate: one count each.
  [[nodiscard]] std::uint64_t sent() const { return sent_; }
  [[nodiscard]] std::uint64_t refused() const { return refused_; }
  [[nodiscard]] const std::string& lastRefusal() const { return last_refusal_; }
  [[nodiscard]] std::uint64_t lost(event::LossPlace place) const {
    return lost_[static_cast<std::size_t>(place)];
  }
  [[nodiscard]] std::uint64_t lost() const { return lost_[0] + lost_[1] + lost_[2]; }
  /// Of the links to a bus.
  [[nodiscard]] std::uint64_t gaps() const { return gaps_; }
  /// Power state by the last power event; unknown if there was none.
  [[nodiscard]] event::PowerState power() const { return power_; }
  /// When power was last taken off, if it has not come since; the same clock as the batches. kNoTime: not
  /// known.
  [[nodiscard]] Ns removedAt() const { return removed_ns_; }
  /// It was, before this run.
  void setRemoved(Ns t_ns) { removed_ns_ = t_ns; }
  /// By the interlock's code.
  [[nodiscard]] const std::map<std::string, Cleared>& clearances() const { return clearances_; }
  /// The module is fed: by the last power event, or because it answered since then.
  [[nodiscard]] bool fed() const { return power_ == event::PowerState::on || answered_; }
  /// Something was measured with the module fed.
  [[nodiscard]] bool measuredOn() const;
  /// From a link's first coming up to the last event, seconds; 0 if none came up.
  [[nodiscard]] double listened_s() const;

 private:
  void takeFrame(const event::Header& h, const event::CanFrame& f);
  void takeLink(const event::Header& h, const event::LinkState& s);
  void takePower(const event::Header& h, const event::Power& p);
  void addToTrace(const event::Measurement& m, Ns t_ns);
  void matchLate(const event::Header& h, const event::CanFrame& f);
  void followPeriod(const event::Header& h, std::uint64_t key, const event::CanFrame& f);
  [[nodiscard]] bool isMeter(std::uint16_t index) const;
  LinkFacts& link(std::uint16_t index);

  std::vector<PointFacts> points_;
  std::vector<LinkFacts> links_;
  std::vector<Trace> traces_;
  std::vector<Ns> power_ons_;
  struct Period {
    Ns first_ns = kNoTime, last_ns = kNoTime, longest_ns = 0;
    std::uint32_t count = 0;
  };
  std::unordered_map<std::uint64_t, Period> periods_;  ///< by link and identifier
  std::vector<Restart> restarts_;
  std::map<std::string, Cleared> clearances_;
  std::vector<ExchangeFacts> exchanges_;
  std::vector<std::size_t> silent_;  ///< of our exchanges, those whose answer may still come
  std::unordered_set<std::uint64_t> ids_;
  bool module_heard_ = false, others_heard_ = false;
  std::uint64_t order_ = 0;
  std::uint64_t sent_ = 0, refused_ = 0, gaps_ = 0;
  std::string last_refusal_;
  std::array<std::uint64_t, 3> lost_{};
  Ns removed_ns_ = kNoTime;
  event::PowerState power_ = event::PowerState::unknown;
  std::optional<std::pair<std::uint32_t, bool>> module_;
  std::optional<std::uint32_t> line_module_;
  bool answered_ = false;  ///< the module, since the last power event
  Ns up_since_ns_ = kNoTime;
  Ns last_ns_ = kNoTime;
};

}  // namespace pin16::readiness
