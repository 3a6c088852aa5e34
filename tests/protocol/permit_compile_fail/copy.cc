// SPDX-License-Identifier: Apache-2.0
// Must not compile: one permit, one frame.
#include "core/link/permit.hpp"

pin16::link::Permit twice(const pin16::link::Permit& permit) { return permit; }
