// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// Every plugin as it describes itself, its settings to be edited, and what it has found so far. Nothing here
/// knows any plugin.

#include <QWidget>
#include <map>
#include <string>
#include <vector>

#include "core/job/job.hpp"
#include "core/plugin/results.hpp"

class QLabel;
class QPushButton;
class QVBoxLayout;

namespace pin16::gui {

class PluginsPage : public QWidget {
  Q_OBJECT
 public:
  explicit PluginsPage(QWidget* parent = nullptr);
  using Chosen = std::map<std::string, job::PluginSettings>;
  /// `chosen`: the settings in force; the others stand at their defaults.
  void show(const std::vector<plugin::Results>& plugins, const Chosen& chosen, const QString& trouble);
  /// Another job or capture.
  void forget();
  void tell(const QString& what);
  /// The input of a setting; null: none.
  [[nodiscard]] QWidget* input(const std::string& plugin, const std::string& setting) const;
  [[nodiscard]] QString faultAt(const std::string& plugin) const;

 Q_SIGNALS:
  void used(const Chosen& chosen);  ///< for what is in view
  void keptInJob(const Chosen& chosen);
  void left();

 private:
  struct Input {
    plugin::SettingFacts facts;
    QWidget* widget;
  };
  struct Card {
    plugin::Facts facts;
    QWidget* frame;
    std::vector<Input> inputs;
    QLabel* fault;
    QLabel* given;
  };
  void addCard(const plugin::Results& plugin, const Chosen& chosen);
  /// What is typed, held against each plugin's description; false: a fault is shown at its card.
  bool collect(Chosen& out);

  QVBoxLayout* cards_box_;
  QLabel *told_, *none_;
  std::vector<Card> cards_;
};

}  // namespace pin16::gui
