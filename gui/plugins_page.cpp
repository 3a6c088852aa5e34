// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/plugins_page.hpp"

#include <QCheckBox>
#include <QFrame>
#include <QGridLayout>
#include <QHBoxLayout>
#include <QLabel>
#include <QLineEdit>
#include <QLocale>
#include <QPushButton>
#include <QVBoxLayout>

#include "core/plugin/include/pin16/plugin.h"
#include "core/plugin/local.hpp"
#include "gui/look.hpp"

namespace pin16::gui {
namespace {

constexpr std::size_t kFindingsShown = 20;  // own figure: the newest; the rest is counted

QString unitOf(const std::string& unit) {
  return unit.empty() || unit == "1" ? QString() : QStringLiteral(" ") + text(unit);
}

}  // namespace

PluginsPage::PluginsPage(QWidget* parent) : QWidget(parent) {
  auto* all = new QVBoxLayout(this);
  all->setContentsMargins(20, 14, 20, 14);
  all->setSpacing(8);
  auto* title = label(tr("Plugins: settings, and what they found"), Role::heading, true);
  setPx(title, 18);
  all->addWidget(title);
  all->addWidget(
      label(tr("An empty field stands for its default. Findings lower a verdict and never raise one."),
            Role::faint, true));
  auto* box = scrolled(all);
  none_ = label(tr("No plugin runs."), Role::faint, true);
  box->addWidget(none_);
  cards_box_ = new QVBoxLayout;
  cards_box_->setSpacing(8);
  box->addLayout(cards_box_);
  box->addStretch(1);
  told_ = label({}, Role::plain, true);
  told_->hide();
  all->addWidget(told_);
  auto* buttons = new QHBoxLayout;
  const auto button = [&](const QString& what, const char* name) {
    auto* b = new QPushButton(what);
    b->setObjectName(QLatin1String(name));
    buttons->addWidget(b);
    return b;
  };
  auto* use = button(tr("use"), "use-settings");
  use->setToolTip(tr("For what is in view: a capture is read again, a recording goes on with them."));
  auto* keep = button(tr("keep in the job"), "keep-settings");
  buttons->addStretch(1);
  auto* back = button(tr("back to the sheet"), "leave-plugins");
  all->addLayout(buttons);
  connect(use, &QPushButton::clicked, this, [this] {
    Chosen chosen;
    if (collect(chosen)) Q_EMIT used(chosen);
  });
  connect(keep, &QPushButton::clicked, this, [this] {
    Chosen chosen;
    if (collect(chosen)) Q_EMIT keptInJob(chosen);
  });
  connect(back, &QPushButton::clicked, this, &PluginsPage::left);
}

void PluginsPage::tell(const QString& what) {
  told_->setText(what);
  told_->setVisible(!what.isEmpty());
}

void PluginsPage::forget() {
  for (const Card& c : cards_) delete c.frame;
  cards_.clear();
  tell({});
}

void PluginsPage::addCard(const plugin::Results& plugin, const Chosen& chosen) {
  Card card;
  card.facts = plugin.facts;
  card.frame = new QFrame;
  card.frame->setObjectName(QStringLiteral("card"));
  auto* box = new QVBoxLayout(card.frame);
  box->setContentsMargins(14, 10, 14, 12);
  box->setSpacing(4);
  box->addWidget(label(text(plugin.facts.name + " " + plugin.facts.version), Role::heading, true));
  box->addWidget(label(text(plugin.facts.summary), Role::faint, true));
  const auto given = chosen.find(plugin.facts.name);
  auto* grid = new QGridLayout;
  grid->setHorizontalSpacing(14);
  grid->setColumnStretch(0, 3);
  grid->setColumnStretch(1, 2);
  int row = 0;
  for (const plugin::SettingFacts& s : plugin.facts.settings) {
    const job::PluginValue* now = nullptr;
    if (given != chosen.end())
      if (const auto v = given->second.find(s.name); v != given->second.end()) now = &v->second;
    QWidget* input = nullptr;
    QString what = text(s.name + ": " + s.help);
    if (s.type == PIN16_SWITCH) {
      auto* t = new QCheckBox(text(s.name));
      const bool* on = now != nullptr ? std::get_if<bool>(now) : nullptr;
      t->setChecked(on != nullptr ? *on : s.number != 0);
      input = t;
    } else {
      auto* l = new QLineEdit;
      if (s.type == PIN16_NUMBER) {
        what += tr(" (%1 to %2%3)")
                    .arg(QString::number(s.least, 'g', 10), QString::number(s.most, 'g', 10), unitOf(s.unit));
        l->setPlaceholderText(QString::number(s.number, 'g', 10));
        if (const double* d = now != nullptr ? std::get_if<double>(now) : nullptr)
          l->setText(QString::number(*d, 'g', 12));
      } else {
        l->setPlaceholderText(text(s.text));
        if (const auto* t = now != nullptr ? std::get_if<std::string>(now) : nullptr) l->setText(text(*t));
      }
      input = l;
    }
    input->setAccessibleName(text(plugin.facts.name + ", ") + what);
    grid->addWidget(label(what, Role::plain, true), row, 0);
    grid->addWidget(input, row++, 1);
    card.inputs.push_back({s, input});
  }
  box->addLayout(grid);
  card.fault = label({}, Role::plain, true);
  card.fault->hide();
  box->addWidget(card.fault);
  card.given = label({}, Role::plain, true);
  box->addWidget(card.given);
  cards_box_->addWidget(card.frame);
  cards_.push_back(std::move(card));
}

void PluginsPage::show(const std::vector<plugin::Results>& plugins, const Chosen& chosen,
                       const QString& trouble) {
  bool same = cards_.size() == plugins.size();
  for (std::size_t i = 0; same && i < plugins.size(); ++i)
    same = cards_[i].facts.name == plugins[i].facts.name;
  if (!same) {
    for (const Card& c : cards_) delete c.frame;
    cards_.clear();
    for (const auto& p : plugins) addCard(p, chosen);
  }
  none_->setText(trouble.isEmpty() ? tr("No plugin runs.") : trouble);
  none_->setVisible(plugins.empty());
  for (std::size_t i = 0; i < plugins.size(); ++i) {
    const plugin::Results& p = plugins[i];
    QStringList lines;
    if (!p.failed.empty()) lines << QStringLiteral("\u2715 ") + tr("ended: %1").arg(text(p.failed));
    for (std::size_t k = 0; k < p.counters.size() && k < p.facts.counters.size(); ++k)
      if (p.counters[k] > 0) lines << text(p.facts.counters[k].name + ": " + std::to_string(p.counters[k]));
    const std::size_t from = p.findings.size() > kFindingsShown ? p.findings.size() - kFindingsShown : 0;
    if (from > 0) lines << tr("%1 findings before these").arg(from);
    for (std::size_t k = from; k < p.findings.size(); ++k) {
      const plugin::Finding& f = p.findings[k];
      lines << (f.weight == plugin::Weight::against   ? QStringLiteral("\u2715 ")
                : f.weight == plugin::Weight::warning ? QStringLiteral("\u25b2 ")
                                                      : QStringLiteral("\u2022 ")) +
                   text(f.text);
    }
    if (lines.isEmpty()) lines << tr("nothing found so far");
    const QString all = lines.join(QLatin1Char('\n'));
    if (cards_[i].given->text() != all) cards_[i].given->setText(all);
  }
}

bool PluginsPage::collect(Chosen& out) {
  bool good = true;
  for (Card& card : cards_) {
    job::PluginSettings settings;
    QString fault;
    for (const Input& i : card.inputs) {
      if (const auto* t = qobject_cast<QCheckBox*>(i.widget)) {
        if (t->isChecked() != (i.facts.number != 0)) settings[i.facts.name] = t->isChecked();
        continue;
      }
      const QString typed = qobject_cast<QLineEdit*>(i.widget)->text().trimmed();
      if (typed.isEmpty()) continue;
      if (i.facts.type == PIN16_TEXT) {
        settings[i.facts.name] = typed.toStdString();
        continue;
      }
      bool number = false;
      const double value = QLocale::c().toDouble(typed, &number);
      if (number)
        settings[i.facts.name] = value;
      else
        settings[i.facts.name] = typed.toStdString();  // refused below, by its name
    }
    if (const Status fits = plugin::checkSettings(card.facts, settings); !fits) {
      fault = QStringLiteral("\u2715 ") + text(fits.error().text());
      QPalette p = card.fault->palette();
      p.setColor(QPalette::WindowText, Look::the().colours().faulty);
      card.fault->setPalette(p);
      good = false;
    }
    card.fault->setText(fault);
    card.fault->setVisible(!fault.isEmpty());
    if (!settings.empty()) out[card.facts.name] = std::move(settings);
  }
  return good;
}

QWidget* PluginsPage::input(const std::string& plugin, const std::string& setting) const {
  for (const Card& c : cards_)
    for (const Input& i : c.inputs)
      if (c.facts.name == plugin && i.facts.name == setting) return i.widget;
  return nullptr;
}

QString PluginsPage::faultAt(const std::string& plugin) const {
  for (const Card& c : cards_)
    if (c.facts.name == plugin && !c.fault->isHidden()) return c.fault->text();
  return {};
}

}  // namespace pin16::gui
