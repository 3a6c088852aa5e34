// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// A job from a short form. What the fields mean, and whether they fit, is said by core/job: the page holds
/// texts, and shows the loader's sentence beside the field that it names.

#include <QWidget>
#include <optional>
#include <vector>

#include "core/job/draft.hpp"

class QCheckBox;
class QComboBox;
class QGridLayout;
class QLabel;
class QLineEdit;
class QPushButton;
class QScrollArea;
class QVBoxLayout;

namespace pin16::gui {

class FoundPanel;

class JobForm : public QWidget {
  Q_OBJECT
 public:
  explicit JobForm(QWidget* parent = nullptr);
  /// Empties it, for a new file in the user's documents.
  void begin();
  [[nodiscard]] job::Draft draft() const;
  [[nodiscard]] FoundPanel* found() const { return found_; }
  /// The input of a field by its key, "job.name"; null: none.
  [[nodiscard]] QWidget* input(const std::string& key) const;
  [[nodiscard]] QLineEdit* fileLine() const { return file_; }
  /// What stands beside the field of this key; empty: nothing.
  [[nodiscard]] QString faultAt(const std::string& key) const;

 Q_SIGNALS:
  void made(const QString& file);
  void left();

 private:
  struct Field {
    std::string key;
    QWidget* input;
    QLabel* fault;
  };
  /// A row of a link or a meter, made when one is taken or typed.
  struct Entry {
    bool meter;
    QWidget* frame;
    std::vector<Field> fields;  ///< keys without their number: "uri"
  };
  QGridLayout* card(const QString& heading, const QString& what);
  QWidget* cell(const QString& name, QWidget* input, QLabel*& fault);
  void place(QWidget* what, bool wide);
  void put(const std::string& key, const QString& name, QWidget* input, bool wide = false);
  QLineEdit* line(const std::string& key, const QString& name, const QString& example = {},
                  bool wide = false);
  QComboBox* choice(const std::string& key, const QString& name,
                    const std::vector<std::pair<QString, QString>>& values, bool wide = false);
  QCheckBox* tick(const std::string& key, const QString& name);
  void addEntry(bool meter, const QString& uri);
  void use(std::initializer_list<const char*> keys, bool used);
  void makeHead();
  void makeModule();
  void makeSupply();
  void makeLinks();
  void save();
  void changed();
  /// Shows the loader's fault, or none; true: there is none.
  bool judge(bool go_there);
  void tell(const std::string& key, const QString& what, bool go_there);
  [[nodiscard]] static QString valueOf(const QWidget* input);
  /// Each field with its key as the draft has it.
  [[nodiscard]] std::vector<Field> all() const;

  QScrollArea* area_;
  QVBoxLayout* cards_;
  QGridLayout* grid_ = nullptr;  ///< of the card being made
  int cell_ = 0;
  std::vector<Field> fields_;
  std::vector<Entry> entries_;
  QVBoxLayout* entry_rows_;
  FoundPanel* found_;
  QComboBox *addressing_, *source_;
  QLineEdit* file_;
  QLabel* trouble_;
  bool judged_ = false;  ///< it was to be saved once: faults are shown as they come and go
};

}  // namespace pin16::gui
