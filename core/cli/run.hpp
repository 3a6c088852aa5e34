// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What the commands with a running recorder share.

#include <chrono>
#include <functional>
#include <memory>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "core/base/result.hpp"
#include "core/event/batch.hpp"
#include "core/job/job.hpp"
#include "core/protocol/asker.hpp"
#include "core/recorder/session.hpp"

namespace pin16::cli {

/// Ctrl-C, SIGTERM or a closed terminal: commands then end their recording in good order.
void watchInterrupts();
[[nodiscard]] bool interrupted();

/// "pin16-20261125T174502Z-listen.pcapng" in the current folder, or what the user gave.
[[nodiscard]] std::string captureName(const std::string& given, std::string_view command);

/// The links' states as last heard; a Sink to be chained before the command's own.
class LinkBoard : public event::Sink {
 public:
  void take(const event::Batch& batch) override;
  [[nodiscard]] const std::vector<event::LinkState>& states() const { return states_; }
  /// The gate refused something on this link.
  [[nodiscard]] bool refused(std::size_t link) const { return refused_.contains(link); }
  /// At least one link was up at some time, meters among them.
  [[nodiscard]] bool everUp() const { return ever_up_; }
  /// At least one link to a bus was.
  [[nodiscard]] bool busEverUp() const { return bus_ever_up_; }
  /// Prints on stderr whatever changed for the worse, with its advice.
  void tellTroubles();

 private:
  std::vector<event::LinkState> states_;
  std::vector<std::string> told_;
  std::set<std::size_t> refused_;
  bool ever_up_ = false, bus_ever_up_ = false;
};

/// Hands each batch to several sinks.
class Tee : public event::Sink {
 public:
  explicit Tee(std::vector<event::Sink*> sinks) : sinks_(std::move(sinks)) {}
  void take(const event::Batch& batch) override {
    for (event::Sink* s : sinks_) s->take(batch);
  }

 private:
  std::vector<event::Sink*> sinks_;
};

/// The numbers of the links to a bus among these: meters cannot be asked.
[[nodiscard]] std::vector<std::uint16_t> busLinks(const std::vector<std::string>& uris);
/// --search: lets those links search that can and name no protocol, and says on stderr what they will send.
/// ErrorKind::gate in a sealed job, ErrorKind::usage if there is no such link.
Status beginSearch(recorder::Config& config);
/// Gives links that must know bit rate and addresses beforehand what the job knows.
void completeUris(std::vector<std::string>& uris, const job::Job& job);

/// What a job means for the run: the seal, its module, whether the rate is vouched for.
void applyJob(recorder::Config& config, const job::Job& job);
/// What the call names takes the place of the job's: its links of the job's links, its meters of the job's
/// meters.
[[nodiscard]] std::vector<std::string> chosenUris(const std::vector<std::string>& named, const job::Job& job);
/// A link that the seal, or an attempt recorded elsewhere, kept closed, as the error of the call; nothing if
/// there is none.
[[nodiscard]] std::optional<Error> sealedOff(const LinkBoard& board);

/// Polls until `until` says so, `most` is over, or an interrupt.
Status pollUntil(recorder::Session& session, event::Sink& sink, std::chrono::milliseconds most,
                 const std::function<bool()>& until);
inline constexpr double kLinksWait_s = 3;    ///< own figure
inline constexpr double kSearchWait_s = 20;  ///< longer, if one searches: 4 protocols, 1 s each and setting
/// Waits until every link has said what it is (up, down, missing ...), at most `wait_s`. ErrorKind::link
/// with the first trouble's text and advice if none to a bus is up; ErrorKind::gate if that was refused.
Status waitForLinks(recorder::Session& session, event::Sink& sink, LinkBoard& board, std::size_t count,
                    double wait_s = kLinksWait_s);
/// One request through the recorder's gate. A recorder that is gone is a failed state of ErrorKind::record.
[[nodiscard]] recorder::Command askCommand(const protocol::Ask& ask);
[[nodiscard]] protocol::AskResult askResult(Result<recorder::Reply> reply);
protocol::AskResult askRecorder(recorder::Session& session, event::Sink& sink, const protocol::Ask& ask);
/// Ends the recording; says on stderr where the capture is.
Result<recorder::Reply> finishRun(recorder::Session& session, event::Sink& sink);

}  // namespace pin16::cli
