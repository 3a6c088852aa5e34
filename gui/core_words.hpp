// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// The core's English in the window's language. Fixed texts are in gui/i18n/core/core_LANGUAGE.ts; what the
/// core fills with figures and names is told by its form, gui/i18n/composed/composed_LANGUAGE.ts: the core's
/// format string as source, `{0}`, `{1}` where its fillings go in the translation.

#include <QHash>
#include <QLocale>
#include <QRegularExpression>
#include <QStringList>
#include <QTranslator>
#include <optional>
#include <vector>

namespace pin16::gui {

/// Context "core" on the GUI thread only; others on any.
class CoreWords : public QTranslator {
 public:
  /// False if there are no texts for it.
  bool load(const QLocale& locale);
  [[nodiscard]] QString translate(const char* context, const char* english,
                                  const char* disambiguation = nullptr, int n = -1) const override;
  /// Empty: nothing of it is known. `left` gets the sentences that are not, and fillings that stayed as they
  /// were although they have letters.
  [[nodiscard]] QString translated(const QString& english, QStringList* left) const;
  /// Format strings and their translations, as in the file.
  [[nodiscard]] const std::vector<std::pair<QString, QString>>& forms() const { return pairs_; }

 private:
  struct Form {
    QString translation;
    QString longest;  ///< of its literal parts: what does not contain it cannot be of this form
    QRegularExpression pattern;
    qsizetype letters = 0;
    bool loose = false;  ///< nearly no letters of its own: for fillings only
  };
  using Said = std::optional<QString>;
  void learn(const QString& source, const QString& translation);
  [[nodiscard]] QString fixed(const QString& english) const;
  /// All of it or nothing: a fixed text, one of a form, or clauses or names that are.
  [[nodiscard]] Said whole(const QString& english, bool filling, QStringList* left) const;
  [[nodiscard]] Said ofForm(const QString& english, bool filling, QStringList* left) const;
  [[nodiscard]] Said parts(const QString& english, const QString& by, bool filling, QStringList* left) const;
  [[nodiscard]] QString filled(const QString& english, QStringList* left) const;
  std::vector<Form> forms_;  ///< the most letters first
  std::vector<std::pair<QString, QString>> pairs_;
  mutable QHash<QString, QString> known_;
};

}  // namespace pin16::gui
