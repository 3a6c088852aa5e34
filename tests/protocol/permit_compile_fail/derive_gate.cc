// SPDX-License-Identifier: Apache-2.0
// Must not compile.
#include "core/protocol/gate.hpp"

struct Mine : pin16::protocol::Gate {};
