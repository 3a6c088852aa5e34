// SPDX-License-Identifier: Apache-2.0
#pragma once
/// JSON of the commands other than check and review (docs/json.md): identifiers integers, hex without blanks,
/// *_ms durations, t_ns UTC.

#include <optional>
#include <string>
#include <vector>

#include "core/capture/verify.hpp"
#include "core/event/records.hpp"
#include "core/job/scene.hpp"
#include "core/link/inventory.hpp"
#include "core/link/rate_search.hpp"
#include "core/protocol/rollcall.hpp"
#include "core/review/search.hpp"

namespace pin16::cli {

struct Asked {
  Bytes request;
  std::vector<event::Exchange> exchanges;
  bool confirmed = false;
  event::OwnFrames own_frames = event::OwnFrames::acknowledged;  ///< of the link
};
[[nodiscard]] std::string queryJson(const std::vector<event::LinkState>& links,
                                    const std::vector<Asked>& asked, Ns utc_offset_ns,
                                    const std::string& capture);
[[nodiscard]] std::string rollCallJson(const std::vector<event::LinkState>& links,
                                       const protocol::RollCall& roll, const std::string& capture);
[[nodiscard]] std::string inventoryJson(const link::Inventory& inventory);
[[nodiscard]] std::string checkReportJson(const link::CheckReport& report);
[[nodiscard]] std::string rateReportJson(const link::RateReport& report);
[[nodiscard]] std::string verifyJson(const std::string& file, const capture::VerifyReport& report);
/// Up to the "[" of `rows`; the rows follow one by one, then findJsonEnd().
[[nodiscard]] std::string findJsonHead(const std::string& file, const std::string& find);
[[nodiscard]] std::string hitJson(const review::Hit& hit);
[[nodiscard]] std::string findJsonEnd(const review::Searched& searched);
struct SceneRow {
  job::SceneEntry entry;
  std::optional<job::ScenePhoto> photo;
  std::string state;  ///< of a photo's file now: same, changed, missing
};
[[nodiscard]] std::string sceneJson(const std::string& file, const std::vector<SceneRow>& rows);
/// `text` empty: nothing was noted.
[[nodiscard]] std::string noteJson(const std::string& file, const std::string& text,
                                   const std::string& attempt, bool ended);

}  // namespace pin16::cli
