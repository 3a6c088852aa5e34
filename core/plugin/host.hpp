// SPDX-License-Identifier: Apache-2.0
#pragma once
/// Finds plugins, starts them, feeds them all with one stream and collects what they give.
///
/// Where it looks, in this order: `plugins` beside the program's folder (build tree), lib/pin16/plugins of
/// the install prefix, pin16/plugins in the user's data folder ($XDG_DATA_HOME, ~/.local/share), and files
/// named by
/// --plugin. Shipped plugins (shippedNames(), in the first two) run in this process, every other one in a
/// helper process of its own. A file that is not trusted or was not built for this interface is never loaded:
/// Refused says why.

#include <map>
#include <memory>
#include <string>
#include <thread>
#include <vector>

#include "core/base/queue.hpp"
#include "core/job/job.hpp"
#include "core/plugin/runner.hpp"

namespace pin16::plugin {

/// A plugin that was found and may be started.
struct Found {
  std::string path;
  bool shipped = false;
};
struct Search {
  std::vector<Found> found;
  std::vector<Refused> refused;
};
/// `named` are the files of --plugin; one of them that cannot be taken is in `refused` like any other.
[[nodiscard]] Search search(const std::vector<std::string>& named);
[[nodiscard]] const std::vector<std::string>& shippedNames();

[[nodiscard]] JobFacts jobFacts(const job::Job& job);

struct HostOptions {
  std::vector<std::string> named;  ///< --plugin
  bool none = false;               ///< --no-plugins
  unsigned threads = 1;            ///< 2: plugins work beside the source
  bool asking = false;             ///< questions may be asked (check --ask)
};

class Host {
 public:
  /// Starts every plugin that is found. ErrorKind::input: a setting of the job that no plugin has or that
  /// does not fit, or settings for a plugin that is not there.
  [[nodiscard]] static Result<std::unique_ptr<Host>> start(const HostOptions& options, const job::Job& job);
  ~Host();
  Host(const Host&) = delete;
  Host& operator=(const Host&) = delete;

  /// An empty chunk to fill. Waits, with two threads, until one is free.
  [[nodiscard]] std::unique_ptr<Chunk> emptyChunk();
  /// Every plugin takes it: at once, or in the second thread.
  void take(std::unique_ptr<Chunk> chunk);
  /// Questions of plugins since the last call (one thread only), and their answers.
  struct Question {
    std::size_t plugin = 0;
    Asked asked;
  };
  [[nodiscard]] std::vector<Question> takeQuestions();
  void answered(const Question& question, const event::Exchange* exchange, const std::string& refused);

  /// Live: what each plugin gave since the last call, by name (one thread only).
  [[nodiscard]] std::vector<Results> takeSoFar();
  /// The stream has ended; nothing can be taken after. One entry a plugin, by name.
  [[nodiscard]] std::vector<Results> finish(Ns end_ns);
  [[nodiscard]] const std::vector<Refused>& refused() const { return refused_; }
  [[nodiscard]] bool empty() const { return runners_.empty(); }

 private:
  Host() : work_(kChunks), free_(kChunks) {}
  void work();
  void settle();

  static constexpr std::size_t kChunks = 16;  // in flight between the threads (own figure)

  std::vector<std::unique_ptr<Runner>> runners_;
  std::vector<Refused> refused_;
  std::unique_ptr<Chunk> spare_;               // one thread: the chunk is used again
  Queue<std::unique_ptr<Chunk>> work_, free_;  // two threads
  std::thread worker_;
};

}  // namespace pin16::plugin
