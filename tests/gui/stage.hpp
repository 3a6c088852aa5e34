// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// What the tests of the window share; defined in window_test.cpp.

#include <QDialog>
#include <QString>
#include <QWidget>
#include <functional>
#include <string>
#include <vector>

namespace pin16::gui {

/// A picture into the folder of screenshots, its name with the scale.
void shoot(QWidget& w, const QString& name);
bool waitFor(const std::function<bool()>& until, int most_ms = 40'000);
/// A vehicle whose connector fuse is open.
void makeCapture(const std::string& file);
/// A scenario's job as a file in the folder.
void makeJob(const std::string& folder, const QString& scenario = QStringLiteral("connector-fuse-open"));
/// Of all labels in sight.
QString textOf(QWidget* of);
/// Clicks the button of this name in the dialog that is going to open.
void answerNextDialog(const char* button, const std::function<void(QDialog&)>& before = {});
/// Text that does not fit, siblings that overlap, scroll bars across.
void walk(QWidget* w, std::vector<QString>& faults);

template <class T>
T* named(QWidget& in, const char* name) {
  return in.findChild<T*>(QLatin1String(name));
}

}  // namespace pin16::gui
