// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/core_words.hpp"

#include <QFile>
#include <QXmlStreamReader>
#include <algorithm>

#include "core/job/job.hpp"
#include "core/reasons/catalogue.hpp"

namespace pin16::gui {
namespace {

constexpr qsizetype kKnownMost = 4000;  // texts; figures change several times a second
constexpr qsizetype kLoose = 5;         // letters, of a form that begins with a filling

const QRegularExpression& placeholder() {
  static const QRegularExpression r(QStringLiteral(R"(\{([^{}]*)\})"));
  return r;
}

/// What may stand for a placeholder: `{:q}` a figure with its unit, `{:p}` a point, else as in the core's
/// format strings.
QString patternOf(const QString& spec, bool attached) {
  if (spec == QStringLiteral(":q"))
    return QStringLiteral(R"(([-+]?\d[\d.]*(?:e[-+]?\d+)?(?: [A-Za-z%/]+)?|OL|open))");
  if (spec == QStringLiteral(":p")) return QStringLiteral(R"(([A-Z]\w*\([^()]*\)))");
  if (spec.endsWith(QLatin1Char('X'))) return QStringLiteral("([0-9A-F]+)");
  if (spec.startsWith(QLatin1Char(':'))) return QStringLiteral(R"(([-+]?\d[\d.]*(?:e[-+]?\d+)?|nan|inf))");
  // Within one clause, brackets in pairs: else it would swallow the next sentence. After a word it may be
  // nothing.
  const QString any =
      QStringLiteral(R"(((?:(?![.?!]["'`]? )[^();]|\((?:[^()]|\((?:[^()]|\([^()]*\))*\))*\))%1))");
  return any.arg(attached ? QStringLiteral("*?") : QStringLiteral("+?"));
}

/// At `by`, outside of brackets.
QStringList split(const QString& text, const QString& by) {
  QStringList out;
  qsizetype from = 0, depth = 0;
  for (qsizetype i = 0; i < text.size(); ++i) {
    if (text[i] == QLatin1Char('(')) ++depth;
    if (text[i] == QLatin1Char(')')) --depth;
    if (depth != 0 || QStringView(text).mid(i, by.size()) != by) continue;
    out += text.mid(from, i - from);
    from = i + by.size();
  }
  return out << text.mid(from);
}

QStringList sentences(const QString& text) {
  static const QRegularExpression end(QStringLiteral(R"((?<=[.?!]|[.?!]["'`]) (?=\S))"));
  return text.split(end);
}

bool hasLetters(const QString& text) {
  return std::any_of(text.begin(), text.end(), [](QChar c) { return c.isLetter(); });
}

/// "V(pin16,pin4) " of "V(pin16,pin4) 12.34 V": names are typed and recorded, they stay.
QString nameBefore(const QString& text) {
  static const QStringList names = [] {
    QStringList all;
    for (const auto& r : reasons::readings()) all += QString::fromUtf8(r.id) + QLatin1Char(' ');
    for (const auto& p : job::points()) all += QString::fromStdString(p.name) + QLatin1Char(' ');
    return all;
  }();
  QString longest;
  for (const QString& n : names)
    if (text.startsWith(n) && n.size() > longest.size()) longest = n;
  return longest;
}

}  // namespace

bool CoreWords::load(const QLocale& locale) {
  if (!QTranslator::load(locale, QStringLiteral("core"), QStringLiteral("_"), QStringLiteral(":/i18n")))
    return false;
  QString name = filePath();
  name.replace(QStringLiteral("core_"), QStringLiteral("composed_")).replace(QStringLiteral(".qm"), ".ts");
  QFile file(name);
  if (!file.open(QIODevice::ReadOnly)) return true;
  QXmlStreamReader xml(&file);
  for (QString source; !xml.atEnd();) {
    if (xml.readNext() != QXmlStreamReader::StartElement) continue;
    if (xml.name() == QStringLiteral("source")) source = xml.readElementText();
    if (xml.name() == QStringLiteral("translation")) learn(source, xml.readElementText());
  }
  std::stable_sort(forms_.begin(), forms_.end(),
                   [](const Form& a, const Form& b) { return a.letters > b.letters; });
  return true;
}

void CoreWords::learn(const QString& source, const QString& translation) {
  pairs_.emplace_back(source, translation);
  Form f;
  f.translation = translation;
  QString pattern;
  bool free = false;
  qsizetype from = 0;
  const auto literal = [&](const QString& part) {
    pattern += QRegularExpression::escape(part);
    f.letters += std::count_if(part.begin(), part.end(), [](QChar c) { return c.isLetter(); });
    if (part.size() > f.longest.size()) f.longest = part;
  };
  for (auto at = placeholder().globalMatch(source); at.hasNext();) {
    const auto m = at.next();
    literal(source.mid(from, m.capturedStart() - from));
    const qsizetype before = m.capturedStart() - 1;
    const bool attached =
        before >= 0 && (source[before].isLetterOrNumber() || source[before] == QLatin1Char('}'));
    free = free || m.captured(1).isEmpty();
    pattern += patternOf(m.captured(1), attached);
    from = m.capturedEnd();
  }
  literal(source.mid(from));
  f.loose = free && f.letters < kLoose && source.startsWith(QStringLiteral("{}"));
  f.pattern = QRegularExpression(QRegularExpression::anchoredPattern(pattern));
  forms_.push_back(std::move(f));
}

QString CoreWords::translate(const char* context, const char* english, const char* disambiguation,
                             int n) const {
  if (qstrcmp(context, "core") != 0) return QTranslator::translate(context, english, disambiguation, n);
  const QString text = QString::fromUtf8(english);
  if (text.isEmpty()) return {};
  if (const auto at = known_.constFind(text); at != known_.constEnd()) return *at;
  if (known_.size() >= kKnownMost) known_.clear();
  return *known_.insert(text, translated(text, nullptr));
}

QString CoreWords::fixed(const QString& english) const {
  return QTranslator::translate("core", english.toUtf8().constData());
}

QString CoreWords::translated(const QString& english, QStringList* left) const {
  const QStringList all = sentences(english);
  QStringList out;
  bool any = false;
  for (qsizetype from = 0, next = 0; from < all.size(); from = next) {
    Said said;
    // A text of several sentences is kept as one.
    for (next = all.size(); !said && next > from; --next)
      said = whole(all.mid(from, next - from).join(QLatin1Char(' ')), false, left);
    ++next;
    if (!said && left != nullptr) *left += all[from];
    any = any || said;
    out += said ? *said : all[from];
  }
  return any ? out.join(QLatin1Char(' ')) : QString();
}

CoreWords::Said CoreWords::whole(const QString& english, bool filling, QStringList* left) const {
  if (QString said = fixed(english); !said.isEmpty()) return said;
  if (Said said = ofForm(english, filling, left)) return said;
  for (const auto& by : {QStringLiteral("; "), QStringLiteral(", ")})
    if (Said said = parts(english, by, filling, left)) return said;
  if (!english.endsWith(QLatin1Char('.'))) return std::nullopt;
  if (Said said = whole(english.chopped(1), filling, left)) return *said + QLatin1Char('.');
  return std::nullopt;
}

CoreWords::Said CoreWords::ofForm(const QString& english, bool filling, QStringList* left) const {
  for (const Form& f : forms_) {
    if ((f.loose && !filling) || !english.contains(f.longest)) continue;
    const auto fits = f.pattern.match(english);
    if (!fits.hasMatch()) continue;
    QString out;
    qsizetype from = 0;
    for (auto at = placeholder().globalMatch(f.translation); at.hasNext();) {
      const auto m = at.next();
      out += QStringView(f.translation).mid(from, m.capturedStart() - from);
      out += filled(fits.captured(m.captured(1).toInt() + 1), left);
      from = m.capturedEnd();
    }
    return out + f.translation.mid(from);
  }
  return std::nullopt;
}

CoreWords::Said CoreWords::parts(const QString& english, const QString& by, bool filling,
                                 QStringList* left) const {
  const QStringList all = split(english, by);
  if (all.size() < 2) return std::nullopt;
  QStringList out, of_these;
  for (const QString& clause : all) {
    Said said = whole(clause, filling, &of_these);
    if (!said) {
      said = whole(clause + QLatin1Char('.'), filling, &of_these);
      if (said) said->chop(1);
    }
    if (!said) return std::nullopt;
    out += *said;
  }
  if (left != nullptr) *left += of_these;
  return out.join(by);
}

QString CoreWords::filled(const QString& english, QStringList* left) const {
  if (!hasLetters(english)) return english;
  if (const Said said = whole(english, true, left)) return *said;
  const QString comma = QStringLiteral(", ");
  if (const QStringList parts = split(english, comma); parts.size() > 1) {
    QStringList out;
    for (const QString& part : parts) out += filled(part, left);
    return out.join(comma);
  }
  if (const QString name = nameBefore(english); !name.isEmpty())
    return name + filled(english.mid(name.size()), left);
  if (left != nullptr) *left += english;
  return english;
}

}  // namespace pin16::gui
