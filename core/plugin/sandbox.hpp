// SPDX-License-Identifier: Apache-2.0
#pragma once
/// What a helper process gives up before a foreign plugin's first instruction runs in it.

#include "core/base/result.hpp"

namespace pin16::plugin {

/// From here on this process can read files, use memory and write to `socket`, and nothing else: no file is
/// written or made, no socket opened, no process or thread started, no signal sent to another. What is tried
/// all the same fails with EPERM. By seccomp (Linux), and by Landlock where the kernel has it. Final.
/// ErrorKind::internal if the kernel refuses: then no foreign plugin must be loaded.
[[nodiscard]] Status giveUpPowers(int socket);

}  // namespace pin16::plugin
