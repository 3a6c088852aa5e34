// SPDX-License-Identifier: Apache-2.0
#include "core/link/replay.hpp"

#include <algorithm>
#include <boost/asio/io_context.hpp>
#include <boost/asio/post.hpp>
#include <boost/asio/steady_timer.hpp>
#include <chrono>
#include <optional>
#include <set>

#include "core/capture/reader.hpp"

namespace pin16::link {
namespace {

namespace asio = boost::asio;

bool played(event::Kind kind) {
  switch (kind) {
    case event::Kind::frame:
    case event::Kind::bytes:
    case event::Kind::line:
    case event::Kind::sample:
    case event::Kind::link:
    case event::Kind::loss:
    case event::Kind::gap:
    case event::Kind::damage:
    case event::Kind::power:
    case event::Kind::reading:
    case event::Kind::note:
    case event::Kind::digest:
      return true;
    default:
      return false;
  }
}

class ReplayLink final : public Link {
 public:
  ReplayLink(const Uri& uri, bool fast, std::optional<std::uint16_t> link,
             std::unique_ptr<capture::Reader> reader, const Context& context)
      : context_(context), reader_(std::move(reader)), fast_(fast), wanted_(link), timer_(context.io) {
    state_.uri = uri.text;
    state_.description = "replay of " + uri.target;
    state_.silence = event::Silence::proven;  // nothing is connected
    state_.time_origin = "file";
  }

  void open() override {
    alive_ = std::make_shared<bool>(true);
    start_boot_ns_ = t_boot_ns_ = bootNow();
    state_.condition = event::LinkCondition::up;
    emitState();
    proceed();
  }
  void close() override {
    if (!alive_) return;
    alive_.reset();
    timer_.cancel();
    finish("closed before its end");
  }
  Status send(Permit /*permit*/) override {
    return Error{ErrorKind::link, "a replayed capture has no bus: nothing was sent", state_.uri, ""};
  }
  [[nodiscard]] const event::LinkState& state() const override { return state_; }
  [[nodiscard]] event::Silence silentAtBest() const override {
    return event::Silence::proven;  // nothing is connected
  }

 private:
  void emitState() { context_.host.emit(context_.index, t_boot_ns_, state_); }
  void finish(const std::string& text);
  void proceed();
  void playBatch();
  void play(const event::Header& h);
  void playGap(const event::Header& h);
  void adopt(const event::LinkState& recorded);
  [[nodiscard]] bool ours(const event::Header& h);
  [[nodiscard]] Ns bootOf(Ns t_utc_ns);

  Context context_;
  std::unique_ptr<capture::Reader> reader_;
  const bool fast_;
  std::optional<std::uint16_t> wanted_;  // link of the file
  asio::steady_timer timer_;
  event::LinkState state_;
  event::Batch batch_;
  std::size_t at_ = 0;  // next event of the batch
  Ns start_boot_ns_ = 0;
  Ns first_utc_ns_ = kNoTime;  // of the first event with a time
  Ns t_boot_ns_ = 0;           // of the event being played
  bool others_ = false;
  std::set<std::uint16_t> meters_;  // of the file: their samples belong to whatever is played
  std::shared_ptr<bool> alive_;     // for handlers
};

/// Plays what is due, then comes back by timer (real) or after the io thread's other work (fast).
void ReplayLink::proceed() {
  if (at_ == batch_.headers.size()) {
    at_ = 0;
    if (!reader_->next(batch_)) {
      alive_.reset();
      return finish("end of the file");
    }
  }
  playBatch();
  const auto again = [this, alive = std::weak_ptr<bool>(alive_)](const boost::system::error_code& ec = {}) {
    if (!ec && !alive.expired()) proceed();
  };
  if (fast_ || at_ == batch_.headers.size()) {
    asio::post(context_.io, again);
    return;
  }
  timer_.expires_after(std::chrono::nanoseconds(bootOf(batch_.headers[at_].t_ns) - bootNow()));
  timer_.async_wait(again);
}

void ReplayLink::playBatch() {
  const Ns now_ns = bootNow();
  for (; at_ < batch_.headers.size(); ++at_) {
    const event::Header& h = batch_.headers[at_];
    if (!ours(h)) continue;
    const Ns t_boot_ns = bootOf(h.t_ns);
    if (!fast_ && t_boot_ns > now_ns) return;
    t_boot_ns_ = t_boot_ns;
    play(h);
  }
}

bool ReplayLink::ours(const event::Header& h) {
  if (!played(h.kind)) return false;
  if (h.link == event::kNoLink) return true;
  if (h.kind == event::Kind::link)
    if (const auto s = batch_.record<event::LinkState>(h); s && s->meter) meters_.insert(h.link);
  if (meters_.contains(h.link)) return h.kind == event::Kind::sample;
  if (!wanted_ && h.kind == event::Kind::frame) wanted_ = h.link;
  if (!wanted_ || h.link == *wanted_) return true;
  if (!others_ && h.kind == event::Kind::frame) {
    others_ = true;
    state_.text = "only link " + std::to_string(*wanted_) + " of the file is played; it has others";
    state_.advice = "Play link " + std::to_string(h.link) + " with ?link=" + std::to_string(h.link);
    emitState();
  }
  return false;
}

Ns ReplayLink::bootOf(Ns t_utc_ns) {
  if (t_utc_ns == kNoTime) return t_boot_ns_;
  if (first_utc_ns_ == kNoTime) first_utc_ns_ = t_utc_ns;
  return start_boot_ns_ + (t_utc_ns - first_utc_ns_);
}

void ReplayLink::play(const event::Header& h) {
  const std::uint16_t link = h.link == event::kNoLink ? event::kNoLink : context_.index;
  switch (h.kind) {
    case event::Kind::frame:
      if (const auto f = batch_.frame(h))
        context_.host.onFrame(link, t_boot_ns_, *f, (h.flags & event::kOutbound) != 0);
      break;
    case event::Kind::link:
      if (const auto s = batch_.record<event::LinkState>(h)) adopt(*s);
      break;
    case event::Kind::gap:
      playGap(h);
      break;
    case event::Kind::line:
      if (auto l = batch_.record<event::Line>(h)) {
        if (l->first_ns != kNoTime) l->first_ns = bootOf(l->first_ns);
        context_.host.emit(link, t_boot_ns_, *l);
      }
      break;
    case event::Kind::digest:
      if (auto d = batch_.record<event::Digest>(h)) {
        if (d->first_ns != kNoTime) d->first_ns = bootOf(d->first_ns);
        context_.host.emit(link, t_boot_ns_, *d);
      }
      break;
    default:
      context_.host.onRecord(link, t_boot_ns_, h.kind, batch_.payload(h));
      break;
  }
}

void ReplayLink::playGap(const event::Header& h) {
  auto gap = batch_.record<event::Gap>(h);
  if (!gap) return;
  // Its own clock may be any; its length and its end, the event's time, are kept.
  gap->from_ns = t_boot_ns_ - (gap->to_ns - gap->from_ns);
  gap->to_ns = t_boot_ns_;
  context_.host.emit(h.link == event::kNoLink ? event::kNoLink : context_.index, t_boot_ns_, *gap);
}

/// What the recording run knew of the bus holds for its frames.
void ReplayLink::adopt(const event::LinkState& recorded) {
  event::LinkState next = state_;
  next.bitrate = recorded.bitrate;
  next.data_bitrate = recorded.data_bitrate;
  next.sample_point_permille = recorded.sample_point_permille;
  next.fd = recorded.fd;
  next.listen_only = recorded.listen_only;
  next.silence = recorded.silence;
  next.medium = recorded.medium;
  next.controller = recorded.controller;
  next.tx_errors = recorded.tx_errors;
  next.rx_errors = recorded.rx_errors;
  if (next == state_) return;
  state_ = std::move(next);
  emitState();
}

void ReplayLink::finish(const std::string& text) {
  state_.condition = event::LinkCondition::finished;
  state_.text = state_.text.empty() ? text : text + "; " + state_.text;
  emitState();
}

Result<std::unique_ptr<Link>> makeReplay(const Uri& uri, const Context& context) {
  if (const Status s = allowOptions(uri, {"pace", "link"}); !s) return s.error();
  const std::string pace = uri.option("pace");
  if (!pace.empty() && pace != "real" && pace != "fast")
    return Error{ErrorKind::usage, "pace=\"" + pace + "\" is neither real nor fast", uri.text, ""};
  std::optional<std::uint16_t> link;
  if (const std::string text = uri.option("link"); !text.empty()) {
    const auto number = toUnsigned(text);
    if (!number || *number >= event::kNoLink)
      return Error{ErrorKind::usage, "link=\"" + text + "\" is not a link number of a capture", uri.text,
                   "`pin16 review FILE` lists them"};
    link = static_cast<std::uint16_t>(*number);
  }
  auto reader = capture::Reader::open(uri.target);
  if (!reader) return reader.error();
  return std::unique_ptr<Link>(
      std::make_unique<ReplayLink>(uri, pace == "fast", link, *std::move(reader), context));
}

}  // namespace

Scheme replayScheme() {
  return {"replay",
          "replay:FILE[?pace=real|fast][&link=N]  a capture, played again in its own time or at once",
          makeReplay};
}

}  // namespace pin16::link
