// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The `pin16` command. Data on stdout, prompts and progress on stderr; exit codes in docs/exit-codes.md.

namespace pin16::cli {

/// Parses the command line, runs the command, returns the exit code; never throws.
[[nodiscard]] int run(int argc, char** argv);

}  // namespace pin16::cli
