// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// What the tests of the window share: pictures, waiting, what is written, dialogs.

#include <gtest/gtest.h>

#include <QApplication>
#include <QDialog>
#include <QDir>
#include <QLabel>
#include <QPushButton>
#include <QTemporaryDir>
#include <QTest>
#include <QTimer>
#include <QTranslator>
#include <cstdio>
#include <cstdlib>
#include <functional>
#include <iterator>
#include <string>

#include "gui/core_words.hpp"
#include "gui/look.hpp"

namespace pin16::gui {

inline QString shots() {
  const QString folder = qEnvironmentVariable("PIN16_SCREENSHOTS", QDir::tempPath() + "/pin16-screenshots");
  QDir().mkpath(folder);
  return folder + "/";
}

inline void shoot(QWidget& w, const QString& name) {
  QTest::qWait(50);
  const QString scale = qEnvironmentVariable("QT_SCALE_FACTOR", "1");
  EXPECT_TRUE(w.grab().save(shots() + name + (scale == "1" ? "" : "-x" + scale) + ".png"))
      << name.toStdString();
}

inline bool waitFor(const std::function<bool()>& until, int most_ms = 40'000) {
  return QTest::qWaitFor(until, most_ms);
}

/// While it lives the window that is made speaks German, or the one language where `wanted` is false.
class German {
 public:
  explicit German(bool wanted) {
    if (!wanted) return;
    constexpr const char* kFiles[] = {":/i18n/pin16_de.qm", ":/i18n/bench_de.qm"};
    for (std::size_t i = 0; i < std::size(words_); ++i) {
      EXPECT_TRUE(words_[i].load(QLatin1String(kFiles[i]))) << kFiles[i];
      QApplication::installTranslator(&words_[i]);
    }
    EXPECT_TRUE(of_core_.load(QLocale("de")));
    QApplication::installTranslator(&of_core_);
  }
  ~German() {
    for (QTranslator& w : words_) QApplication::removeTranslator(&w);
    QApplication::removeTranslator(&of_core_);
  }
  German(const German&) = delete;
  German& operator=(const German&) = delete;

 private:
  QTranslator words_[2];
  CoreWords of_core_;
};

template <class T>
T* named(QWidget& in, const char* name) {
  return in.findChild<T*>(QLatin1String(name));
}

inline QString textOf(QWidget* of) {
  QString all;
  for (const QLabel* l : of->findChildren<QLabel*>())
    if (l->isVisible())
      all += (dynamic_cast<const ShortLabel*>(l) != nullptr ? static_cast<const ShortLabel*>(l)->whole()
                                                            : l->text()) +
             "\n";
  return all;
}

/// Clicks the button of this name in the dialog that is going to open.
inline void answerNextDialog(const char* button, const std::function<void(QDialog&)>& before = {}) {
  QTimer::singleShot(300, qApp, [button, before] {
    auto* dialog = qobject_cast<QDialog*>(QApplication::activeModalWidget());
    ASSERT_NE(dialog, nullptr);
    if (before) before(*dialog);
    auto* b = dialog->findChild<QPushButton*>(QLatin1String(button));
    ASSERT_NE(b, nullptr) << button;
    QTest::mouseClick(b, Qt::LeftButton);
  });
}

/// A user's home of its own, removed at the end.
class GuiTest : public ::testing::Test {
 protected:
  void SetUp() override {
    ASSERT_TRUE(folder_.isValid());
    qputenv("HOME", folder_.path().toLocal8Bit());
    qputenv("XDG_RUNTIME_DIR", folder_.path().toLocal8Bit());  // recorders of other tests are none of ours
    qputenv("XDG_CACHE_HOME", (folder_.path() + "/cache").toLocal8Bit());
    Look::the().set(Theme::light);
  }
  /// A test that failed half way leaves no recorder behind.
  void TearDown() override {
    if (HasFailure() &&
        std::system(
            (qEnvironmentVariable("PIN16_PROGRAM").toStdString() + " note --end >/dev/null 2>&1").c_str()) !=
            0)
      std::fputs("no recording to end\n", stderr);
  }
  [[nodiscard]] std::string path(const QString& name) const {
    return (folder_.path() + "/" + name).toStdString();
  }
  QTemporaryDir folder_;
};

}  // namespace pin16::gui
