// SPDX-License-Identifier: Apache-2.0
// Must compile: what everybody may do with a Permit.
#include "core/link/permit.hpp"

pin16::link::Permit pass(pin16::link::Permit permit) { return permit; }
unsigned read(const pin16::link::Permit& permit) { return permit.frame().id(); }
