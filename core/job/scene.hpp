// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What was found and what was left, who was there, with what it was measured: FILE.scene beside the job
/// file, one line an entry, "UTC<TAB>KIND<TAB>BY<TAB>TEXT", only ever appended to. A correction is a new
/// entry; the old one stays.

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/job/job.hpp"

namespace pin16::job {

struct SceneEntry {
  std::string utc;
  std::string kind;  ///< one of kSceneKinds
  std::string by;    ///< who says so; may be empty
  /// found, left: "CODE: TEXT". photo: "SHA256 BYTES PATH", the path from the job's folder if it lies below
  /// it. clock: "NAME: OFFSET s +- S s". Else free.
  std::string text;
};
inline constexpr std::array<std::string_view, 8> kSceneKinds{"found", "left",  "photo", "person",
                                                             "meter", "clock", "note",  "caution"};

/// One thing to look at, on arrival and before leaving.
struct SceneItem {
  std::string code;  ///< stable
  std::string question;
};
/// Those of this arrangement, in the order of looking: what people did before us, then what we touch.
[[nodiscard]] std::vector<SceneItem> asFound(Arrangement arrangement);
[[nodiscard]] std::vector<SceneItem> asLeft(Arrangement arrangement);

[[nodiscard]] std::string sceneFile(const Job& job);
/// Empty if there is no file. ErrorKind::input names file and line. A last line that a crash cut off is left
/// out.
[[nodiscard]] Result<std::vector<SceneEntry>> readScene(const Job& job);
[[nodiscard]] Status appendScene(const Job& job, const SceneEntry& entry);

/// A photo's entry taken apart; nothing if the text is none.
struct ScenePhoto {
  std::string sha256;
  std::uint64_t bytes = 0;
  std::string path;
};
[[nodiscard]] std::optional<ScenePhoto> photoOf(const SceneEntry& entry);

}  // namespace pin16::job
