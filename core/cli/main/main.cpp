// SPDX-License-Identifier: Apache-2.0
#include "core/cli/cli.hpp"

int main(int argc, char** argv) { return pin16::cli::run(argc, argv); }
