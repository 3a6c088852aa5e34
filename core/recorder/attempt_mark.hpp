// SPDX-License-Identifier: Apache-2.0
#pragma once
/// While an attempt of the other equipment is recorded, other recordings of the same user neither send nor
/// acknowledge. A mark beside the recorder's socket tells them, locked by the living process: one that was
/// killed leaves none that counts. Which wires an adapter hangs on nobody can know: it holds for all links.

#include <string>

#include "core/base/result.hpp"

namespace pin16::recorder {

class AttemptMark {
 public:
  AttemptMark() = default;
  ~AttemptMark();
  AttemptMark(const AttemptMark&) = delete;
  AttemptMark& operator=(const AttemptMark&) = delete;
  /// Sets the mark of the recorder with this socket, once; ErrorKind::record if it cannot be made.
  Status set(const std::string& socket);

 private:
  std::string file_;
  int fd_ = -1;
};

/// A recorder other than that of `socket`, with its socket in the same folder, records an attempt.
[[nodiscard]] bool attemptElsewhere(const std::string& socket);

}  // namespace pin16::recorder
