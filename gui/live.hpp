// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// A running recording, of which the window is a client: the recorder is a process of its own, and what it
/// writes does not depend on this one. GUI thread only; nothing in here waits longer than a glance.

#include <QTimer>
#include <deque>
#include <set>

#include "core/protocol/rollcall.hpp"
#include "core/recorder/session.hpp"
#include "gui/live_plugins.hpp"
#include "gui/source.hpp"

namespace pin16::gui {

class LiveSource : public Source, private event::Sink {
  Q_OBJECT
 public:
  LiveSource(job::Job job, bool may_ask);
  ~LiveSource() override;
  /// Starts the recorder on these links (empty: the job's), writing into `folder`. ErrorKind as
  /// recorder::Session::start.
  Status start(const std::vector<std::string>& uris, const std::string& folder);

  [[nodiscard]] bool live() const override { return true; }
  /// The recorder is there and writes.
  [[nodiscard]] bool recording() const { return session_ != nullptr; }
  [[nodiscard]] bool mayAsk() const { return may_ask_; }
  [[nodiscard]] bool asking() const { return roll_ != nullptr; }
  [[nodiscard]] bool attemptRuns() const { return attempt_; }
  [[nodiscard]] int recorderPid() const { return session_ ? session_->recorderPid() : -1; }
  [[nodiscard]] std::vector<std::string> troubles() const;

  [[nodiscard]] const readiness::Sheet* sheet() const override { return judged_once_ ? &sheet_ : nullptr; }
  [[nodiscard]] const readiness::Evidence* evidence() const override { return &evidence_; }
  [[nodiscard]] const review::Timeline* timeline() const override { return &timeline_; }
  [[nodiscard]] std::vector<protocol::AttemptReport> attempts() const override {
    return census_.attempts().reports();
  }
  [[nodiscard]] std::vector<reasons::Observation> observations() const override;
  [[nodiscard]] QString stateText() const override;
  [[nodiscard]] QString nextText() const override;
  [[nodiscard]] std::vector<plugin::Results> plugins() const override;
  [[nodiscard]] QString pluginTrouble() const { return plugins_ ? plugins_->trouble() : QString(); }
  /// Plugins begin anew with these settings, from now on.
  void setPlugins(const std::map<std::string, job::PluginSettings>& settings);

  using Source::enter;
  Status enter(const event::Measurement& reading) override;
  Status note(const std::string& text);
  Status clear(const event::Clearance& clearance);
  /// Declared: a person has switched it. Kept in the job's ledger too.
  Status power(event::PowerState state);
  /// As `check --ask`: one functional request, then who answers is asked for its VIN. ErrorKind::gate if
  /// asking was not allowed when the recording began.
  Status ask();
  /// The bit rate of links that refused to ask, no valid frame having proven it yet and none having come
  /// since: bit/s, 0 not known. Nothing: there is nothing to vouch for, or nothing may be sent.
  [[nodiscard]] std::optional<std::uint32_t> rateToVouchFor() const;
  /// A person vouches for it, which is recorded, and asks again. ErrorKind::gate.
  Status vouchAndAsk(const std::string& by);
  /// One try of the other equipment begins; it ends with the next call. `changed`: since the one before.
  Status attempt(const std::string& changed = {});
  /// One has ended and is not in the job's list yet.
  [[nodiscard]] bool attemptToKeep() const { return to_keep_; }
  /// Puts it there, with what the other program said and its count of ignition cycles; without either at the
  /// next attempt and at the end of the recording.
  Status keepAttempt(const std::string& said, std::optional<int> cycles);
  /// "hands off", "finished", "stalled 8 s"; empty: none runs.
  [[nodiscard]] QString attemptText() const;
  /// Ends the recording in good order; the file is whole then.
  Status end();
  void judgeNow() { judge(); }

 Q_SIGNALS:
  void askedAll(const QString& outcome);

 private:
  void take(const event::Batch& batch) override;
  void tick();
  void judge();
  /// Into the ledger: power-ups that were seen, each further rise of a plug that bounced, and power that
  /// went; not the power-up with which the recording began.
  void keepPower();
  void tell(const std::string& what) override { (void)note(what); }
  Status command(recorder::Action action, Bytes packed, const std::string& text = {});
  void askNext();
  void gone(const Error& e);

  bool may_ask_;
  std::unique_ptr<recorder::Session> session_;
  readiness::Evidence evidence_;
  review::Timeline timeline_;
  readiness::Witnessed witnessed_;
  std::unique_ptr<review::Followers> followers_;
  review::Census census_;
  readiness::Sheet sheet_;
  bool judged_once_ = false, fresh_ = false, attempt_ = false, to_keep_ = false;
  Ns utc_offset_ns_ = kNoTime, began_ns_ = kNoTime, judged_ns_ = 0, drawn_ns_ = 0, grown_ns_ = 0;
  std::vector<event::LinkState> states_;
  std::vector<std::uint16_t> buses_;
  std::size_t rises_kept_ = 0;        ///< of the power that is on
  std::set<std::uint16_t> unproven_;  ///< links that refused for want of a valid frame
  std::unique_ptr<protocol::RollCall> roll_;
  std::optional<std::uint32_t> asked_;
  QTimer timer_;
  std::unique_ptr<LivePlugins> plugins_;
};

}  // namespace pin16::gui
