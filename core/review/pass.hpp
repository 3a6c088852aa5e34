// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A capture from start to end in steps, for who has to show progress or look at the same batches.

#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "core/base/result.hpp"
#include "core/capture/reader.hpp"
#include "core/job/job.hpp"
#include "core/plugin/host.hpp"
#include "core/review/timeline.hpp"

namespace pin16::review {

class Plugged;

/// One owner, one thread.
class Pass {
 public:
  /// As reviewFile(). `follower`, if given, outlives the pass.
  [[nodiscard]] static Result<std::unique_ptr<Pass>> open(const std::string& path, const job::Job* hints,
                                                          const plugin::HostOptions& plugins,
                                                          Follower* follower = nullptr);
  ~Pass();
  Pass(const Pass&) = delete;
  Pass& operator=(const Pass&) = delete;

  /// The next events, counted; `batch` holds them. False at the end.
  bool next(event::Batch& batch);
  [[nodiscard]] capture::Reader& reader() { return *reader_; }
  [[nodiscard]] std::uint64_t offset() const { return reader_->offset(); }
  /// Call once, at the end or before it: what was read so far.
  [[nodiscard]] Summary finish();

 private:
  explicit Pass(const limits::Limits& limits);
  std::string path_;
  std::unique_ptr<capture::Reader> reader_;
  Census census_;
  std::unique_ptr<plugin::Host> host_;
  std::unique_ptr<Plugged> plugged_;
  std::optional<Followers> followers_;
};

}  // namespace pin16::review
