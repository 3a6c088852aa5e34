// SPDX-License-Identifier: Apache-2.0
// Must not compile.
#include "core/link/permit.hpp"

pin16::link::Permit permit;
