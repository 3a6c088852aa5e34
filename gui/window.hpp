// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// The window: a page to start from, and the sheet.

#include <QMainWindow>
#include <memory>
#include <optional>
#include <set>
#include <string>

#include "gui/source.hpp"

class QAction;
class QCheckBox;
class QComboBox;
class QFrame;
class QLabel;
class QLineEdit;
class QListWidget;
class QProgressBar;
class QPushButton;
class QSplitter;
class QStackedWidget;

namespace pin16::gui {

class AttemptsPage;
class EventsPanel;
class FarView;
class FoundPanel;
class Glyph;
class HookUpPage;
class JobForm;
class LiveSource;
class PluginsPage;
class ReasonsPanel;
class ShortLabel;
class StepsPanel;
class SupplyPath;
class TimeAxis;

/// Which job, how powered, power-ups, what was sent, whether everything is recorded, and the verdict.
class Header : public QWidget {
  Q_OBJECT
 public:
  explicit Header(QWidget* parent = nullptr);
  void show(const Source& source);
  [[nodiscard]] QPushButton* menuButton() const { return menu_; }
  [[nodiscard]] QPushButton* followButton() const { return follow_; }
  [[nodiscard]] ShortLabel* verdict() const { return verdict_; }
  [[nodiscard]] ShortLabel* first() const { return first_; }

 private:
  void resizeEvent(QResizeEvent* e) override;
  ShortLabel *job_, *arrangement_, *sent_, *state_, *verdict_, *first_;
  QLabel* power_;
  Glyph* glyph_;
  QPushButton *menu_, *follow_;
  QProgressBar* progress_;
};

class StartPage : public QWidget {
  Q_OBJECT
 public:
  explicit StartPage(QWidget* parent = nullptr);
  void tell(const QString& trouble);
  [[nodiscard]] QLineEdit* captureLine() const { return capture_; }
  [[nodiscard]] QComboBox* scenarios() const { return scenario_; }
  /// By its folder's name, which the list does not show.
  void chooseScenario(const QString& name);
  [[nodiscard]] QCheckBox* answerBox() const { return answer_; }
  [[nodiscard]] QLineEdit* jobLine() const { return job_; }
  [[nodiscard]] QLineEdit* urisLine() const { return uris_; }
  [[nodiscard]] FoundPanel* found() const { return found_; }

 Q_SIGNALS:
  void review(const QString& file, const QString& job);
  void record(const QString& job, bool may_ask, const QStringList& uris);
  void newJob();
  void tryBench(const QString& scenario, bool may_ask);

 private:
  void resizeEvent(QResizeEvent* e) override;
  void showComplaint();
  QLineEdit *capture_, *capture_job_, *job_, *uris_;
  FoundPanel* found_;
  QComboBox* scenario_;
  QCheckBox* answer_;
  QLabel *complaint_, *answer_text_, *trouble_;
};

/// What a person does while a recording runs, and the one line that an attempt needs.
class LiveBar : public QWidget {
  Q_OBJECT
 public:
  explicit LiveBar(QWidget* parent = nullptr);
  void show(const LiveSource& source);
  void tell(const QString& what);
  [[nodiscard]] QPushButton* power() const { return power_; }
  [[nodiscard]] QPushButton* ask() const { return ask_; }
  /// Shown while asking waits for somebody who vouches for the bit rate.
  [[nodiscard]] QPushButton* vouch() const { return vouch_; }
  [[nodiscard]] QPushButton* attempt() const { return attempt_; }
  [[nodiscard]] QPushButton* end() const { return end_; }
  [[nodiscard]] ShortLabel* trouble() const { return trouble_; }
  [[nodiscard]] QLineEdit* note() const { return note_; }

 private:
  QPushButton *power_, *ask_, *attempt_, *end_, *vouch_;
  QLineEdit* note_;
  QWidget* unproven_;
  ShortLabel *line_, *trouble_;
  QString told_;
};

class Window : public QMainWindow {
  Q_OBJECT
 public:
  Window();
  ~Window() override;

  /// `job` empty: job.toml beside the capture, else none. Troubles are shown on the start page.
  void review(const QString& file, const QString& job);
  /// Begins a recording of the job's links, or of `uris` in their place. `may_ask`: read-only requests are
  /// allowed when asked for by hand.
  void record(const QString& job, bool may_ask, const QStringList& uris = {});
  /// The same on the simulated bench, with a copy of the scenario's job.
  void tryBench(const QString& scenario, bool may_ask);
  void backToStart();
  /// Ends the recording and shows it for review. False: it could not be ended.
  bool endRecording();

  [[nodiscard]] LiveSource* live() const;
  /// Arm's length, or back to the sheet.
  void lookFromAfar(bool far);
  [[nodiscard]] FarView* farView() const { return far_; }
  [[nodiscard]] LiveBar* liveBar() const { return live_bar_; }
  [[nodiscard]] Source* source() const { return source_.get(); }
  [[nodiscard]] StepsPanel* steps() const { return steps_; }
  [[nodiscard]] TimeAxis* axis() const { return axis_; }
  [[nodiscard]] EventsPanel* events() const { return events_; }
  [[nodiscard]] ReasonsPanel* reasonsPanel() const { return reasons_panel_; }
  [[nodiscard]] SupplyPath* path() const { return path_; }
  [[nodiscard]] Header* header() const { return header_; }
  [[nodiscard]] StartPage* startPage() const { return start_; }
  [[nodiscard]] JobForm* jobForm() const { return form_; }
  [[nodiscard]] HookUpPage* hookUpPage() const { return hook_up_; }
  [[nodiscard]] PluginsPage* pluginsPage() const { return plugins_; }
  [[nodiscard]] AttemptsPage* attemptsPage() const { return attempts_; }
  /// A page in place of the sheet, or back to it.
  void turnTo(QWidget* page);
  [[nodiscard]] const Reasons* reasons() const { return reasons_.get(); }

 protected:
  void resizeEvent(QResizeEvent*) override;
  void closeEvent(QCloseEvent* e) override;

 private:
  void makePages();
  void showPages();
  [[nodiscard]] std::string hookUpOpen() const;
  bool startLive(job::Job job, bool may_ask, const QString& folder, const QStringList& uris);
  bool mayLeave();
  void togglePower();
  void toggleAttempt();
  void fillFromBench(const QString& id, const QString& suffix);
  enum Section { kPath, kTime, kReasons, kEvents, kSections };
  void makeActions();
  void present(std::unique_ptr<Source> source);
  void judged();
  void drawn();
  void drawPlugins();
  void think();
  void enter(const QString& reading);
  void fold();
  [[nodiscard]] bool moduleAnswers() const;

  QStackedWidget* stack_;
  StartPage* start_;
  QWidget* sheet_;
  FarView* far_;
  JobForm* form_;
  HookUpPage* hook_up_;
  AttemptsPage* attempts_;
  PluginsPage* plugins_;
  Header* header_;
  LiveBar* live_bar_;
  SupplyPath* path_;
  StepsPanel* steps_;
  TimeAxis* axis_;
  ReasonsPanel* reasons_panel_;
  EventsPanel* events_;
  QSplitter *across_, *down_;
  QAction* sections_[kSections]{};
  QPushButton* section_buttons_[kSections]{};
  std::optional<bool> wanted_[kSections];
  std::unique_ptr<Source> source_;
  std::unique_ptr<Reasons> reasons_;
  std::vector<event::Measurement> bench_readings_;
  std::vector<bool> left_out_;
  std::set<std::string> skipped_;
};

}  // namespace pin16::gui
