// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once

#include <QWidget>

#include "core/job/job.hpp"

namespace pin16::gui {

/// Shows a job's cautions and keeps who has read them, unless somebody has: true, the job may be begun;
/// false, they were left unread. Errors of readiness::cautionsRead() and keepCautionsRead().
[[nodiscard]] Result<bool> readCautions(QWidget* parent, const job::Job& job);

}  // namespace pin16::gui
