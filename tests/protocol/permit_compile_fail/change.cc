// SPDX-License-Identifier: Apache-2.0
// Must not compile: what leaves is what was judged.
#include "core/link/permit.hpp"

void change(pin16::link::Permit& permit) { permit.frame().length = 3; }
