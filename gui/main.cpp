// SPDX-License-Identifier: GPL-3.0-or-later
/// `pin16-gui`: the window. The recording itself is made by `pin16`, a program of its own beside this one.

#include <QApplication>
#include <QCommandLineParser>
#include <QFileInfo>
#include <QLibraryInfo>
#include <QTranslator>

#include "core/bench/bench.hpp"
#include "core/link/link.hpp"
#include "core/supply/supply.hpp"
#include "gui/core_words.hpp"
#include "gui/look.hpp"
#include "gui/window.hpp"

int main(int argc, char** argv) {
  using namespace pin16;
  QApplication app(argc, argv);
  QApplication::setApplicationName(QStringLiteral("pin16-gui"));
  QApplication::setApplicationVersion(QStringLiteral(PIN16_VERSION));
  QApplication::setDesktopFileName(QStringLiteral("pin16-gui"));
  QApplication::setStyle(QStringLiteral("Fusion"));

  QCommandLineParser line;
  line.setApplicationDescription(QStringLiteral("Pin16: from the source to the answer"));
  line.addHelpOption();
  line.addVersionOption();
  line.addPositionalArgument(QStringLiteral("FILE"), QStringLiteral("capture to review"),
                             QStringLiteral("[FILE]"));
  const QCommandLineOption job(QStringLiteral("job"), QStringLiteral("job file"), QStringLiteral("JOB"));
  const QCommandLineOption look(QStringLiteral("look"), QStringLiteral("light, dark or contrast"),
                                QStringLiteral("LOOK"), QStringLiteral("light"));
  const QCommandLineOption language(QStringLiteral("language"), QStringLiteral("en or de"),
                                    QStringLiteral("LANGUAGE"));
  line.addOptions({job, look, language});
  line.process(app);

  QTranslator words, of_bench, of_qt;
  gui::CoreWords of_core;
  const QLocale locale = line.isSet(language) ? QLocale(line.value(language)) : QLocale();
  QLocale::setDefault(locale);
  if (words.load(locale, QStringLiteral("pin16"), QStringLiteral("_"), QStringLiteral(":/i18n")))
    QApplication::installTranslator(&words);
  if (of_core.load(locale)) QApplication::installTranslator(&of_core);
  if (of_bench.load(locale, QStringLiteral("bench"), QStringLiteral("_"), QStringLiteral(":/i18n")))
    QApplication::installTranslator(&of_bench);
  if (of_qt.load(locale, QStringLiteral("qtbase"), QStringLiteral("_"),
                 QLibraryInfo::path(QLibraryInfo::TranslationsPath)))
    QApplication::installTranslator(&of_qt);

  link::addBuiltInSchemes();
  bench::addBenchScheme();
  supply::addMeterSchemes();
  if (qEnvironmentVariableIsEmpty("PIN16_PROGRAM"))
    qputenv(
        "PIN16_PROGRAM",
        QFileInfo(QApplication::applicationDirPath() + QStringLiteral("/pin16")).filePath().toLocal8Bit());

  gui::Look::the().set(line.value(look) == QStringLiteral("dark")       ? gui::Theme::dark
                       : line.value(look) == QStringLiteral("contrast") ? gui::Theme::contrast
                                                                        : gui::Theme::light);
  gui::Window window;
  if (!line.positionalArguments().isEmpty())
    window.review(line.positionalArguments().front(), line.value(job));
  window.show();
  return QApplication::exec();
}
