// SPDX-License-Identifier: Apache-2.0
// Must not compile.
#include "core/link/permit.hpp"

struct Mine : pin16::link::Permit {
  Mine() : Permit(pin16::event::CanFrame{}, "anything") {}
};
