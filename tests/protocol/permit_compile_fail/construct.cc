// SPDX-License-Identifier: Apache-2.0
// Must not compile.
#include "core/link/permit.hpp"

pin16::link::Permit make() { return pin16::link::Permit(pin16::event::CanFrame{}, "anything"); }
