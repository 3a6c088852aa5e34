// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/window.hpp"

#include <QAction>
#include <QApplication>
#include <QCheckBox>
#include <QCloseEvent>
#include <QComboBox>
#include <QDateTime>
#include <QDialog>
#include <QDialogButtonBox>
#include <QDir>
#include <QFileDialog>
#include <QFileInfo>
#include <QGridLayout>
#include <QHBoxLayout>
#include <QLabel>
#include <QLineEdit>
#include <QMenu>
#include <QMessageBox>
#include <QProgressBar>
#include <QPushButton>
#include <QScrollArea>
#include <QSplitter>
#include <QStackedWidget>
#include <QStandardPaths>
#include <QVBoxLayout>
#include <algorithm>

#include "core/bench/bench.hpp"
#include "core/job/draft.hpp"
#include "core/readiness/cautions.hpp"
#include "core/readiness/interlocks.hpp"
#include "core/readiness/path.hpp"
#include "core/reasons/gather.hpp"
#include "core/reasons/text.hpp"
#include "gui/attempts_page.hpp"
#include "gui/cautions_dialog.hpp"
#include "gui/events_panel.hpp"
#include "gui/far_view.hpp"
#include "gui/found_panel.hpp"
#include "gui/hook_up_page.hpp"
#include "gui/job_form.hpp"
#include "gui/live.hpp"
#include "gui/look.hpp"
#include "gui/panels.hpp"
#include "gui/plugins_page.hpp"
#include "gui/supply_path.hpp"
#include "gui/time_axis.hpp"

namespace pin16::gui {
namespace {

/// Logical sizes from which a section is shown unless somebody wants it otherwise; at 200 % on a screen of
/// 1280 x 800 steps and reasons are what is left (docs/window.md).
struct Least {
  int width, height;
};
constexpr Least kLeast[] = {{0, 520}, {700, 430}, {1000, 0}, {700, 620}};
/// Narrower than this, steps and reasons are alone.
constexpr int kAlone = 700;
/// From here on the head has room for what was sent, and for how it is powered.
constexpr int kAllOfHead = 900;

QFrame* rule(bool upright) {
  auto* f = new QFrame;
  f->setObjectName(QStringLiteral("rule"));
  upright ? f->setFixedWidth(1) : f->setFixedHeight(1);
  return f;
}

void setSize(QWidget* w, int px, bool bold) {
  QFont f = QApplication::font();
  f.setPixelSize(px);
  f.setBold(bold);
  w->setFont(f);
}

}  // namespace

Header::Header(QWidget* parent) : QWidget(parent) {
  auto* all = new QVBoxLayout(this);
  all->setContentsMargins(14, 8, 12, 8);
  all->setSpacing(5);
  auto* row = new QHBoxLayout;
  row->setSpacing(18);
  job_ = new ShortLabel(this);
  setSize(job_, 16, true);
  arrangement_ = new ShortLabel(this);
  // How many power-ups so far is never cut.
  power_ = label({}, Role::plain, false, this);
  sent_ = new ShortLabel(this);
  setRole(sent_, Role::faint);
  state_ = new ShortLabel(this);
  setRole(state_, Role::faint);
  progress_ = new QProgressBar(this);
  progress_->setRange(0, 1000);
  progress_->setTextVisible(false);
  progress_->setFixedSize(90, 10);
  progress_->setAccessibleName(tr("progress of reading the capture"));
  follow_ = new QPushButton(tr("follow"), this);
  follow_->setCheckable(true);
  menu_ = new QPushButton(tr("menu"), this);
  menu_->setAccessibleName(tr("menu: pages, sections, look"));
  row->addWidget(job_, 5);
  row->addWidget(power_);
  row->addWidget(arrangement_, 3);
  row->addWidget(sent_, 3);
  row->addWidget(state_, 5);
  row->addWidget(progress_);
  row->addWidget(follow_);
  row->addWidget(menu_);
  all->addLayout(row);
  auto* verdict = new QHBoxLayout;
  verdict->setSpacing(9);
  glyph_ = new Glyph(22, this);
  verdict_ = new ShortLabel(this);
  setSize(verdict_, 18, true);
  verdict_->setLines(3);
  verdict->addWidget(glyph_, 0, Qt::AlignTop);
  verdict->addWidget(verdict_, 1);
  all->addLayout(verdict);
  first_ = new ShortLabel(this);
  first_->setLines(3);
  all->addWidget(first_);
}

/// What was sent and how it is powered give way to the verdict and the recording's state.
void Header::resizeEvent(QResizeEvent* e) {
  QWidget::resizeEvent(e);
  arrangement_->setVisible(width() >= kAllOfHead);
  sent_->setVisible(width() >= kAllOfHead);
}

void Header::show(const Source& source) {
  const job::Job& job = source.job();
  job_->setWhole(text(job.name));
  const readiness::Sheet* s = source.sheet();
  arrangement_->setWhole(arrangementName(job.arrangement));
  power_->setText(s == nullptr ? QString()
                  : s->power_up_budget
                      ? tr("power-ups %1 of %2").arg(s->power.powerUps()).arg(*s->power_up_budget)
                      : tr("power-ups %1").arg(s->power.powerUps()));
  sent_->setWhole(source.sentText());
  state_->setWhole(source.stateText());
  progress_->setVisible(source.progress() < 1);
  progress_->setValue(static_cast<int>(source.progress() * 1000));
  follow_->setVisible(source.live());
  setTint(verdict_, s == nullptr ? Tint::text : tintOf(s->overall));
  if (s == nullptr) {
    glyph_->show(readiness::Verdict::not_measured);
    verdict_->setWhole(tr("not judged yet"));
    first_->setWhole({});
  } else {
    glyph_->show(glyphOf(s->overall));
    verdict_->setWhole(coreText(s->sentence));
    first_->setWhole(source.nextText());
  }
  if (const auto* l = qobject_cast<const LiveSource*>(&source); l != nullptr && l->attemptRuns()) {
    setTint(verdict_, Tint::text);
    glyph_->show(readiness::Verdict::not_asked);
    verdict_->setWhole(l->attemptText());
    first_->setWhole(
        tr("An attempt of the other equipment runs: until it ends (F10) nothing is asked, judged or "
           "indexed, and the figures below stay as they were."));
  }
  first_->setVisible(!first_->whole().isEmpty());
}

StartPage::StartPage(QWidget* parent) : QWidget(parent) {
  auto* outer = new QVBoxLayout(this);
  outer->setContentsMargins(0, 0, 0, 0);
  auto* area = new QScrollArea(this);
  area->setWidgetResizable(true);
  area->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  area->setFocusPolicy(Qt::NoFocus);
  outer->addWidget(area);
  auto* inside = new QWidget;
  area->setWidget(inside);
  area->viewport()->setAutoFillBackground(false);
  auto* all = new QVBoxLayout(inside);
  all->setContentsMargins(28, 24, 28, 24);
  all->setSpacing(14);
  auto* title = label(QStringLiteral("Pin16"), Role::heading);
  setSize(title, 26, true);
  all->addWidget(title);
  all->addWidget(
      label(tr("Shows the way from the source to the answer, and keeps a record of it. Pin16 listens "
               "unless told to send."),
            Role::plain, true));
  trouble_ = label({}, Role::plain, true);
  trouble_->hide();
  all->addWidget(trouble_);

  const auto card = [&](const QString& heading, const QString& what) {
    auto* frame = new QFrame;
    frame->setObjectName(QStringLiteral("card"));
    auto* box = new QVBoxLayout(frame);
    box->setContentsMargins(16, 14, 16, 16);
    box->setSpacing(8);
    auto* h = label(heading, Role::heading, true);
    setSize(h, 16, true);
    box->addWidget(h);
    box->addWidget(label(what, Role::faint, true));
    all->addWidget(frame);
    return box;
  };
  const auto chooser = [&](QVBoxLayout* box, QLineEdit* line, const QString& name, const QString& filter) {
    auto* row = new QHBoxLayout;
    line->setAccessibleName(name);
    line->setPlaceholderText(name);
    auto* choose = new QPushButton(tr("choose \u2026"));
    choose->setAccessibleName(tr("choose: %1").arg(name));
    row->addWidget(line, 1);
    row->addWidget(choose);
    box->addLayout(row);
    connect(choose, &QPushButton::clicked, this, [this, line, name, filter] {
      const QString file = QFileDialog::getOpenFileName(this, name, QFileInfo(line->text()).path(), filter);
      if (!file.isEmpty()) line->setText(file);
    });
  };
  const QString jobs = tr("Jobs (*.toml);;All files (*)");

  QVBoxLayout* b =
      card(tr("Review a capture"), tr("What was recorded, judged anew: pcapng or pcap with CAN frames."));
  capture_ = new QLineEdit;
  capture_job_ = new QLineEdit;
  chooser(b, capture_, tr("capture"), tr("Captures (*.pcapng *.pcap);;All files (*)"));
  chooser(b, capture_job_, tr("its job, if there is one (job.toml beside it is found)"), jobs);
  auto* go = new QPushButton(tr("review"));
  go->setObjectName(QStringLiteral("review"));
  b->addWidget(go, 0, Qt::AlignLeft);
  connect(go, &QPushButton::clicked, this, [this] { Q_EMIT review(capture_->text(), capture_job_->text()); });
  connect(capture_, &QLineEdit::returnPressed, go, &QPushButton::click);

  const auto asking = [&](QVBoxLayout* box) {
    auto* may = new QCheckBox(tr("may ask: read-only requests, each by hand"));
    box->addWidget(may);
    return may;
  };
  b = card(tr("Record a job"),
           tr("Listens on the job's links and meters, and writes everything down. A recording goes "
              "on when this window dies."));
  job_ = new QLineEdit;
  chooser(b, job_, tr("job"), jobs);
  auto* new_job = new QPushButton(tr("new job \u2026"));
  new_job->setObjectName(QStringLiteral("new-job"));
  b->addWidget(new_job, 0, Qt::AlignLeft);
  connect(new_job, &QPushButton::clicked, this, &StartPage::newJob);
  found_ = new FoundPanel;
  b->addWidget(found_);
  uris_ = new QLineEdit;
  uris_->setAccessibleName(tr("links and meters in place of the job's"));
  uris_->setPlaceholderText(uris_->accessibleName());
  b->addWidget(uris_);
  connect(found_, &FoundPanel::taken, this, [this](const QString& uri, bool) {
    const QString before = uris_->text().trimmed();
    uris_->setText(before.isEmpty() ? uri : before + QLatin1Char(' ') + uri);
  });
  auto* may_ask = asking(b);
  auto* record_it = new QPushButton(tr("record"));
  record_it->setObjectName(QStringLiteral("record"));
  b->addWidget(record_it, 0, Qt::AlignLeft);
  connect(record_it, &QPushButton::clicked, this, [this, may_ask] {
    Q_EMIT record(job_->text(), may_ask->isChecked(),
                  uris_->text().split(QLatin1Char(' '), Qt::SkipEmptyParts));
  });

  b = card(
      tr("Try a bench scenario"),
      tr("A simulated bench to learn on: nothing is connected. Each is told as a technician meets it; what "
         "is wrong, if anything, is for you to find."));
  scenario_ = comboBox();
  scenario_->setAccessibleName(tr("scenario"));
  scenario_->setSizeAdjustPolicy(QComboBox::AdjustToMinimumContentsLengthWithIcon);
  complaint_ = label({}, Role::plain, true);
  for (const auto& s : bench::listScenarios())
    scenario_->addItem(arrangementName(s.arrangement) + QStringLiteral(": ") + coreText(s.complaint),
                       text(s.name));
  answer_ = new QCheckBox(tr("show what is wrong with it"));
  answer_text_ = label({}, Role::faint, true);
  answer_text_->hide();
  const auto answer = [this] {
    const QString name = scenario_->currentData().toString();
    if (const auto s = bench::loadScenario(name.toStdString()))
      answer_text_->setText(QStringLiteral("%1: %2. %3").arg(name, text(s->name), text(s->text)));
    answer_text_->setVisible(answer_->isChecked());
  };
  connect(answer_, &QCheckBox::toggled, this, answer);
  connect(scenario_, &QComboBox::currentIndexChanged, this, [this] {
    // The answer of the one before is none of this one's.
    showComplaint();
    answer_->setChecked(false);
  });
  chooseScenario(QStringLiteral("connector-fuse-open"));
  auto* try_row = new QHBoxLayout;
  auto* try_it = new QPushButton(tr("try it"));
  try_it->setObjectName(QStringLiteral("try"));
  try_row->addWidget(scenario_, 1);
  try_row->addWidget(try_it);
  b->addLayout(try_row);
  b->addWidget(complaint_);
  b->addWidget(answer_);
  b->addWidget(answer_text_);
  auto* bench_ask = asking(b);
  bench_ask->setChecked(true);
  connect(try_it, &QPushButton::clicked, this, [this, bench_ask] {
    Q_EMIT tryBench(scenario_->currentData().toString(), bench_ask->isChecked());
  });
  all->addStretch(1);
}

LiveBar::LiveBar(QWidget* parent) : QWidget(parent) {
  auto* whole = new QVBoxLayout(this);
  whole->setContentsMargins(12, 5, 12, 5);
  whole->setSpacing(4);
  auto* all = new QHBoxLayout;
  all->setSpacing(8);
  whole->addLayout(all);
  // Where a link is in trouble and what mends it, whole.
  trouble_ = new ShortLabel(this);
  trouble_->setLines(2);
  setTint(trouble_, Tint::faulty);
  trouble_->hide();
  whole->addWidget(trouble_);
  // Asking is refused: why, and the way out, below the button that was pressed.
  unproven_ = new QWidget(this);
  auto* proof = new QHBoxLayout(unproven_);
  proof->setContentsMargins(0, 0, 0, 0);
  proof->setSpacing(8);
  auto* why = new ShortLabel(unproven_);
  why->setLines(4);
  why->setWhole(tr(
      "Not asked: no frame has shown yet that the bit rate is right, and asking at a wrong one disturbs the "
      "bus. Wake the bus (ignition, a door) and ask again; or, if you know the rate:"));
  setTint(why, Tint::marginal);
  vouch_ = new QPushButton(unproven_);
  vouch_->setObjectName(QStringLiteral("vouch"));
  proof->addWidget(why, 1);
  proof->addWidget(vouch_);
  unproven_->hide();
  whole->addWidget(unproven_);
  power_ = new QPushButton(tr("power comes on \u2026"), this);
  ask_ = new QPushButton(tr("ask"), this);
  ask_->setToolTip(
      tr("One functional request, then the VIN of each module that answers: read-only, through the gate."));
  attempt_ = new QPushButton(tr("attempt begins"), this);
  attempt_->setShortcut(QKeySequence(Qt::Key_F10));
  note_ = new QLineEdit(this);
  note_->setPlaceholderText(tr("note into the recording"));
  note_->setAccessibleName(tr("note into the recording"));
  line_ = new ShortLabel(this);
  end_ = new QPushButton(tr("end recording"), this);
  all->addWidget(power_);
  all->addWidget(ask_);
  all->addWidget(attempt_);
  all->addWidget(note_, 2);
  all->addWidget(line_, 3);
  all->addWidget(end_);
}

void LiveBar::tell(const QString& what) {
  told_ = what;
  line_->setWhole(what);
}

void LiveBar::show(const LiveSource& source) {
  const bool on = source.evidence()->power() == event::PowerState::on;
  power_->setText(on ? tr("power goes off") : tr("power comes on \u2026"));
  ask_->setEnabled(source.mayAsk() && !source.asking() && !source.attemptRuns());
  attempt_->setText(source.attemptRuns() ? tr("attempt ends") : tr("attempt begins"));
  const auto troubles = source.troubles();
  // During an attempt the head has the one line.
  const QString now = source.attemptRuns() ? QString() : source.asking() ? tr("asking \u2026") : told_;
  // During an attempt there is one line only.
  const QString trouble = source.attemptRuns() || troubles.empty()
                              ? QString()
                              : QStringLiteral("\u2715 ") + text(troubles.front());
  if (trouble != trouble_->whole()) trouble_->setWhole(trouble);
  trouble_->setVisible(!trouble.isEmpty());
  const auto rate = source.rateToVouchFor();
  if (rate)
    vouch_->setText(*rate != 0 ? tr("I know it is %1 kbit/s: ask").arg(*rate / 1000.0)
                               : tr("I know it is right: ask"));
  unproven_->setVisible(rate.has_value());
  if (now != line_->whole()) line_->setWhole(now);
}

/// Whole, where the list has no room for it.
void StartPage::showComplaint() {
  constexpr int kArrow_px = 46;
  const QString all = scenario_->currentText();
  complaint_->setText(all);
  complaint_->setVisible(scenario_->fontMetrics().horizontalAdvance(all) > scenario_->width() - kArrow_px);
}

void StartPage::resizeEvent(QResizeEvent* e) {
  QWidget::resizeEvent(e);
  // Once the layout within has followed.
  QMetaObject::invokeMethod(this, &StartPage::showComplaint, Qt::QueuedConnection);
}

void StartPage::chooseScenario(const QString& name) { scenario_->setCurrentIndex(scenario_->findData(name)); }

void StartPage::tell(const QString& trouble) {
  trouble_->setVisible(!trouble.isEmpty());
  trouble_->setText(trouble);
  setTint(trouble_, Tint::faulty);
}

Window::Window() : left_out_(reasons::kReadings, false) {
  setWindowTitle(QStringLiteral("Pin16"));
  resize(1280, 800);
  stack_ = new QStackedWidget(this);
  setCentralWidget(stack_);
  // What is shown follows from the size (fold()), so it must not bound it beforehand.
  stack_->setSizePolicy(QSizePolicy::Ignored, QSizePolicy::Ignored);
  setMinimumSize(480, 360);
  start_ = new StartPage;
  stack_->addWidget(start_);
  connect(start_, &StartPage::review, this, &Window::review);
  connect(start_, &StartPage::record, this, &Window::record);
  connect(start_, &StartPage::tryBench, this, &Window::tryBench);

  sheet_ = new QWidget;
  auto* all = new QVBoxLayout(sheet_);
  all->setContentsMargins(0, 0, 0, 0);
  all->setSpacing(0);
  header_ = new Header;
  live_bar_ = new LiveBar;
  path_ = new SupplyPath;
  steps_ = new StepsPanel;
  axis_ = new TimeAxis;
  reasons_panel_ = new ReasonsPanel;
  events_ = new EventsPanel;
  all->addWidget(header_);
  all->addWidget(live_bar_);
  all->addWidget(rule(false));
  all->addWidget(path_);
  all->addWidget(rule(false));
  across_ = new QSplitter(Qt::Horizontal);
  across_->setHandleWidth(1);
  across_->setChildrenCollapsible(false);
  across_->addWidget(steps_);
  across_->addWidget(axis_);
  across_->addWidget(reasons_panel_);
  steps_->setMinimumWidth(200);
  reasons_panel_->setMinimumWidth(240);
  across_->setStretchFactor(0, 0);
  across_->setStretchFactor(1, 1);
  across_->setStretchFactor(2, 0);
  across_->setSizes({270, 690, 320});
  down_ = new QSplitter(Qt::Vertical);
  down_->setHandleWidth(1);
  down_->setChildrenCollapsible(false);
  down_->addWidget(across_);
  down_->addWidget(events_);
  events_->setMinimumHeight(96);
  down_->setStretchFactor(0, 3);
  down_->setStretchFactor(1, 1);
  down_->setSizes({360, 160});
  all->addWidget(down_, 1);
  stack_->addWidget(sheet_);
  far_ = new FarView;
  stack_->addWidget(far_);
  connect(far_, &FarView::entered, this, &Window::enter);
  connect(far_, &FarView::left, this, [this] { lookFromAfar(false); });
  connect(far_, &FarView::marked, this, [this](const QString& word) {
    if (LiveSource* l = live()) (void)l->note(("mark: " + word).toStdString());
  });

  makePages();
  makeActions();

  connect(axis_, &TimeAxis::cursorMoved, events_, &EventsPanel::goTo);
  connect(events_, &EventsPanel::cursorMoved, axis_, &TimeAxis::setCursor);
  connect(path_, &SupplyPath::chosen, steps_, &StepsPanel::choose);
  connect(reasons_panel_, &ReasonsPanel::entered, this, &Window::enter);
  connect(reasons_panel_, &ReasonsPanel::skipped, this, [this](const QString& id) {
    skipped_.insert(id.toStdString());
    if (const auto r = reasons::findReading(id.toStdString())) left_out_[*r] = true;
    think();
  });
  connect(reasons_panel_, &ReasonsPanel::meterAsked, this, &Window::fillFromBench);
  connect(live_bar_->power(), &QPushButton::clicked, this, &Window::togglePower);
  connect(live_bar_->end(), &QPushButton::clicked, this, &Window::endRecording);
  const auto tell = [this](const Status& s) { live_bar_->tell(s ? QString() : text(s.error().text())); };
  connect(live_bar_->ask(), &QPushButton::clicked, this, [this, tell] {
    if (LiveSource* l = live()) tell(l->ask());
  });
  connect(live_bar_->vouch(), &QPushButton::clicked, this, [this, tell] {
    if (LiveSource* l = live()) tell(l->vouchAndAsk(hook_up_->nameLine()->text().trimmed().toStdString()));
  });
  connect(live_bar_->attempt(), &QPushButton::clicked, this, &Window::toggleAttempt);
  connect(live_bar_->note(), &QLineEdit::returnPressed, this, [this, tell] {
    LiveSource* l = live();
    const std::string what = live_bar_->note()->text().trimmed().toStdString();
    if (l == nullptr || what.empty()) return;
    tell(l->note(what));
    live_bar_->note()->clear();
  });
  connect(axis_, &TimeAxis::followChanged, this, [this](bool on) {
    header_->followButton()->setChecked(on);
    events_->follow(on);
  });
  connect(header_->followButton(), &QPushButton::toggled, axis_, &TimeAxis::setFollow);
  connect(&Look::the(), &Look::changed, this, [this] {
    if (source_) judged();
  });
}

Window::~Window() {
  reasons_.reset();
  events_->show(nullptr);
  axis_->show(nullptr, 9);
  source_.reset();
}

/// The pages beside start and sheet.
void Window::makePages() {
  form_ = new JobForm;
  stack_->addWidget(form_);
  connect(start_, &StartPage::newJob, this, [this] {
    start_->tell({});
    form_->begin();
    stack_->setCurrentWidget(form_);
  });
  connect(form_, &JobForm::left, this, &Window::backToStart);
  connect(form_, &JobForm::made, this, [this](const QString& file) {
    start_->jobLine()->setText(file);
    start_->urisLine()->clear();
    backToStart();
    start_->jobLine()->setFocus();
  });
  plugins_ = new PluginsPage;
  stack_->addWidget(plugins_);
  connect(plugins_, &PluginsPage::left, this, [this] { turnTo(plugins_); });
  connect(plugins_, &PluginsPage::used, this, [this](const PluginsPage::Chosen& chosen) {
    if (LiveSource* l = live(); l != nullptr && l->recording()) {
      l->setPlugins(chosen);
      return plugins_->tell(tr("The plugins have begun anew with these settings."));
    }
    job::Job job = source_->job();
    job.plugins = chosen;
    auto again = std::make_unique<ReviewSource>(source_->file(), std::move(job));
    if (Status opened = again->start(); !opened) return plugins_->tell(text(opened.error().text()));
    present(std::move(again));
    stack_->setCurrentWidget(plugins_);
    plugins_->tell(tr("The capture is read again with these settings."));
  });
  connect(plugins_, &PluginsPage::keptInJob, this, [this](const PluginsPage::Chosen& chosen) {
    const Status kept = job::keepPluginSettings(source_->job().file, chosen);
    plugins_->tell(kept ? tr("They stand in the job now.") : text(kept.error().text()));
  });
  attempts_ = new AttemptsPage;
  stack_->addWidget(attempts_);
  connect(attempts_, &AttemptsPage::left, this, [this] { turnTo(attempts_); });
  connect(attempts_, &AttemptsPage::attemptAsked, this, &Window::toggleAttempt);
  connect(attempts_, &AttemptsPage::kept, this, [this](const QString& said, std::optional<int> cycles) {
    LiveSource* l = live();
    if (l == nullptr) return;
    const Status s = l->keepAttempt(said.toStdString(), cycles);
    attempts_->tell(s ? QString() : text(s.error().text()));
    live_bar_->tell({});
    showPages();
  });
  hook_up_ = new HookUpPage;
  stack_->addWidget(hook_up_);
  connect(hook_up_, &HookUpPage::left, this, [this] { turnTo(hook_up_); });
  connect(hook_up_, &HookUpPage::powerAsked, this, &Window::togglePower);
  connect(hook_up_, &HookUpPage::ticked, this, [this](const event::Clearance& c) {
    LiveSource* l = live();
    if (l == nullptr) return;
    const Status s = l->clear(c);
    hook_up_->tell(s ? QString() : text(s.error().text()));
  });
  connect(hook_up_, &HookUpPage::seen, this, [this](const QString& what) {
    if (LiveSource* l = live()) (void)l->note(what.toStdString());
  });
}

/// As `listen --attempt`: what was changed since the last one is said before the next one begins.
void Window::toggleAttempt() {
  LiveSource* l = live();
  if (l == nullptr) return;
  const bool begins = !l->attemptRuns();
  const auto kept = job::readAttempts(l->job());
  if (begins && attempts_->changed().isEmpty() && (l->attemptToKeep() || !kept || !kept->empty())) {
    if (stack_->currentWidget() != attempts_) turnTo(attempts_);
    return attempts_->askChanged();
  }
  const Status s = l->attempt(attempts_->changed().toStdString());
  const QString what = !s       ? text(s.error().text())
                       : begins ? QString()
                                : tr("Attempt ended. F12: what the other program said.");
  attempts_->tell(s ? QString() : what);
  live_bar_->tell(what);
  if (s && begins) attempts_->clearChanged();
  showPages();
}

void Window::turnTo(QWidget* page) {
  if (!source_) return;
  stack_->setCurrentWidget(stack_->currentWidget() == page ? sheet_ : page);
  showPages();
}

/// What core says, to whichever page is in sight. The hook-up's ticks are recorded whether it is or not.
void Window::showPages() {
  const readiness::Sheet* s = source_->sheet();
  const readiness::Evidence* e = source_->evidence();
  if (s == nullptr || e == nullptr) return;
  AttemptsPage::State attempts;
  const auto kept = job::readAttempts(source_->job());
  attempts.rows = review::attemptRows(kept ? *kept : std::vector<job::AttemptEntry>{}, source_->attempts(),
                                      source_->file());
  const int past = s->power.powerUps();
  if (const auto budget = s->power_up_budget)
    attempts.left = past < *budget ? tr("power-ups left: %1 of %2").arg(*budget - past).arg(*budget)
                                   : tr("budget of %1 power-ups used up").arg(*budget);
  else
    attempts.left = tr("power-ups so far: %1").arg(past);
  attempts.stop = kept ? coreText(job::stopText(source_->job(), *kept)) : text(kept.error().text());
  if (const LiveSource* l = live(); l != nullptr && l->recording()) {
    attempts.live = true;
    attempts.runs = l->attemptRuns();
    attempts.to_keep = l->attemptToKeep();
  }
  attempts_->show(attempts);
  if (stack_->currentWidget() == plugins_)
    plugins_->show(source_->plugins(), source_->job().plugins,
                   live() != nullptr ? live()->pluginTrouble() : QString());
  hook_up_->show(readiness::hookUpState(source_->job(), *e, *s),
                 s->power_up_budget
                     ? tr("power-ups so far: %1 of %2").arg(s->power.powerUps()).arg(*s->power_up_budget)
                     : tr("power-ups so far: %1").arg(s->power.powerUps()),
                 live() != nullptr && live()->recording());
}

void Window::makeActions() {
  auto* menu = new QMenu(this);
  const auto add = [&](QMenu* to, const QString& name, const QKeySequence& keys, auto does) {
    auto* a = new QAction(name, this);
    a->setShortcut(keys);
    addAction(a);
    to->addAction(a);
    connect(a, &QAction::triggered, this, does);
    return a;
  };
  add(menu, tr("start page"), QKeySequence(Qt::ALT | Qt::Key_Home), [this] { backToStart(); });
  add(menu, tr("search"), QKeySequence(Qt::Key_F3), [this] {
    wanted_[kEvents] = true;
    fold();
    events_->searchLine()->setFocus();
    events_->searchLine()->selectAll();
  });
  add(menu, tr("arm's length"), QKeySequence(Qt::Key_F9),
      [this] { lookFromAfar(stack_->currentWidget() != far_); });
  add(menu, tr("hook-up"), QKeySequence(Qt::Key_F11), [this] { turnTo(hook_up_); });
  add(menu, tr("attempts"), QKeySequence(Qt::Key_F12), [this] { turnTo(attempts_); });
  add(menu, tr("plugins"), QKeySequence(Qt::CTRL | Qt::Key_P), [this] { turnTo(plugins_); });
  add(menu, tr("whole time"), QKeySequence(Qt::Key_F4), [this] { axis_->showAll(); });
  add(menu, tr("follow or stand still"), QKeySequence(Qt::CTRL | Qt::Key_F),
      [this] { axis_->setFollow(!axis_->follows()); });
  menu->addSeparator();
  const QString names[] = {tr("supply path"), tr("time axis"), tr("reasons"), tr("events")};
  for (int i = 0; i < kSections; ++i) {
    sections_[i] = add(menu, names[i], QKeySequence(Qt::Key_F5 + i), [this, i] {
      wanted_[i] = sections_[i]->isChecked();
      fold();
    });
    sections_[i]->setCheckable(true);
  }
  menu->addSeparator();
  QMenu* look = menu->addMenu(tr("look"));
  const std::pair<QString, Theme> looks[] = {
      {tr("light"), Theme::light}, {tr("dark"), Theme::dark}, {tr("high contrast"), Theme::contrast}};
  for (const auto& [name, theme] : looks)
    connect(look->addAction(name), &QAction::triggered, this, [theme = theme] { Look::the().set(theme); });
  add(menu, tr("next look"), QKeySequence(Qt::Key_F2), [] {
    const Theme now = Look::the().theme();
    Look::the().set(now == Theme::light ? Theme::dark : now == Theme::dark ? Theme::contrast : Theme::light);
  });
  header_->menuButton()->setMenu(menu);
}

void Window::fold() {
  const int w = width(), h = height();
  bool shown[kSections];
  for (int i = 0; i < kSections; ++i)
    shown[i] = wanted_[i].value_or(w >= kLeast[i].width && h >= kLeast[i].height);
  // Too narrow for three columns, and nobody asked for the axis: reasons stand beside the steps.
  if (w < kAlone && !wanted_[kReasons]) shown[kReasons] = !shown[kTime];
  path_->setVisible(shown[kPath]);
  axis_->setVisible(shown[kTime]);
  reasons_panel_->setVisible(shown[kReasons]);
  events_->setVisible(shown[kEvents]);
  for (int i = 0; i < kSections; ++i) sections_[i]->setChecked(shown[i]);
  path_->updateGeometry();
}

void Window::resizeEvent(QResizeEvent* e) {
  QMainWindow::resizeEvent(e);
  fold();
}

LiveSource* Window::live() const { return qobject_cast<LiveSource*>(source_.get()); }

bool Window::startLive(job::Job job, bool may_ask, const QString& folder, const QStringList& uris) {
  auto source = std::make_unique<LiveSource>(std::move(job), may_ask);
  std::vector<std::string> given;
  for (const QString& uri : uris) given.push_back(uri.toStdString());
  if (Status begun = source->start(given, folder.toStdString()); !begun) {
    start_->tell(text(begun.error().text()));
    return false;
  }
  connect(source.get(), &LiveSource::askedAll, this, [this](const QString& what) { live_bar_->tell(what); });
  present(std::move(source));
  if (const auto read = readiness::cautionsRead(live()->job()); read && *read) {
    (void)live()->note(readiness::cautionsNote(live()->job(), **read));
    hook_up_->nameLine()->setText(text((*read)->by));
  }
  axis_->setFollow(true);
  return true;
}

void Window::record(const QString& job_file, bool may_ask, const QStringList& uris) {
  start_->tell({});
  if (!mayLeave()) return;
  auto job = job::readJob(job_file.toStdString());
  if (!job) return start_->tell(text(job.error().text()));
  // A simulated or replayed bench hurts nobody.
  const auto simulated = [](const std::string& uri) {
    return uri.starts_with("bench:") || uri.starts_with("replay:");
  };
  const bool joined = uris.isEmpty() ? !std::all_of(job->links.begin(), job->links.end(),
                                                    [&](const auto& l) { return simulated(l.uri); }) ||
                                           !job->meters.empty()
                                     : !std::all_of(uris.begin(), uris.end(), [&](const QString& u) {
                                         return simulated(u.toStdString());
                                       });
  if (joined) {
    const auto read = readCautions(this, *job);
    if (!read) return start_->tell(text(read.error().text()));
    if (!*read) return;
  }
  bench_readings_.clear();
  startLive(std::move(*job), may_ask, QFileInfo(job_file).absolutePath(), uris);
}

void Window::tryBench(const QString& scenario, bool may_ask) {
  start_->tell({});
  if (!mayLeave()) return;
  const auto folder = bench::findScenario(scenario.toStdString());
  if (!folder) return start_->tell(text(folder.error().text()));
  // The job's ledger and captures lie beside it: a copy of all, so that the scenario stays as it is. Neither
  // the folder nor the link is named after it: that would be the answer.
  QString base = QStandardPaths::writableLocation(QStandardPaths::DocumentsLocation);
  if (base.isEmpty()) base = QDir::homePath();
  base += QStringLiteral("/Pin16/") +
          QDateTime::currentDateTimeUtc().toString(QStringLiteral("yyyyMMdd-hhmmss")) +
          QStringLiteral("-trial");
  QString trial = base;
  for (int n = 2; QFileInfo::exists(trial); ++n) trial = QStringLiteral("%1-%2").arg(base).arg(n);
  const QString bench = trial + QStringLiteral("/bench"), job_file = trial + QStringLiteral("/job.toml");
  QFile from(text(*folder) + QStringLiteral("/job.toml")), to(job_file);
  if (!QDir().mkpath(bench) ||
      !QFile::copy(text(*folder) + QStringLiteral("/scenario.toml"),
                   bench + QStringLiteral("/scenario.toml")) ||
      !from.open(QIODevice::ReadOnly) || !to.open(QIODevice::WriteOnly) ||
      to.write(from.readAll().replace("\"bench:" + scenario.toUtf8(), "\"bench:" + bench.toUtf8())) < 0)
    return start_->tell(tr("%1 cannot be written").arg(job_file));
  to.close();
  auto job = job::readJob(job_file.toStdString());
  if (!job) return start_->tell(text(job.error().text()));
  bench_readings_.clear();
  if (const auto s = bench::loadScenario(bench.toStdString()))
    if (auto readings = bench::readings(*s)) bench_readings_ = std::move(*readings);
  startLive(std::move(*job), may_ask, trial, {});
}

/// What the scenario's meter shows for what the card asks.
void Window::fillFromBench(const QString& id, const QString& suffix) {
  const std::string point = id.toStdString();
  for (const event::Measurement& m : bench_readings_) {
    static constexpr const char* kPower[] = {"", "off", "source", "on"};
    const bool right_power =
        suffix.isEmpty() ||
        suffix.contains(QStringLiteral("power=") + QLatin1String(kPower[static_cast<std::size_t>(m.power)]));
    const auto o = reasons::observationOf(m);
    const bool of_reasons = suffix.isEmpty() && o && reasons::readings()[o->reading].id == point;
    if (!(of_reasons || (m.point == point && right_power))) continue;
    const QString value = of_reasons ? text(reasons::valueText(o->reading, o->value))
                          : m.point == "lamp"
                              ? (m.value > 0.5 ? QStringLiteral("lit") : QStringLiteral("dark"))
                              : QString::number(m.value, 'g', 6);
    if (m.point == "lamp") return enter(id + QStringLiteral("=") + value + suffix);
    return reasons_panel_->fill(value);
  }
  reasons_panel_->tell(tr("The bench has no meter for this: skip it."));
}

/// What must be cleared first is asked for, people above all; then the power-up is declared.
void Window::togglePower() {
  LiveSource* l = live();
  if (l == nullptr) return;
  const auto done = [this](const Status& s) { live_bar_->tell(s ? QString() : text(s.error().text())); };
  if (l->evidence()->power() == event::PowerState::on) return done(l->power(event::PowerState::off));
  QDialog dialog(this);
  dialog.setWindowTitle(tr("before power"));
  auto* all = new QVBoxLayout(&dialog);
  all->setSpacing(8);
  auto* inside = new QWidget;
  auto* texts = new QVBoxLayout(inside);
  texts->setContentsMargins(0, 0, 8, 0);
  texts->setSpacing(8);
  const auto ledger = job::readLedger(l->job());
  texts->addWidget(
      label(coreText(readiness::powerUpWarning(l->job(), ledger ? *ledger : std::vector<job::PowerUp>{})),
            Role::plain, true));
  for (const auto& caution : readiness::cautions(l->job()))
    texts->addWidget(label(coreText(caution), Role::faint, true));
  if (const std::string open = hookUpOpen(); !open.empty())
    texts->addWidget(label(tr("The hook-up is not done (F11): %1. It will be noted so.").arg(coreText(open)),
                           Role::plain, true));
  auto* grid = new QGridLayout;
  std::vector<std::pair<std::string, QComboBox*>> asked;
  std::vector<std::pair<QComboBox*, QLineEdit*>> reasons_given;
  int row = 0;
  for (const auto& lock : readiness::standing(l->job(), *l->evidence())) {
    if (lock.standing == readiness::Standing::cleared || lock.standing == readiness::Standing::overridden)
      continue;
    auto* question = label(coreText(lock.what.question), Role::plain, true);
    question->setToolTip(coreText(lock.what.why));
    auto* answer = comboBox(&dialog);
    answer->addItems({tr("not known"), tr("yes"), tr("no"), tr("go on, because \u2026")});
    answer->setAccessibleName(coreText(lock.what.question));
    auto* why = new QLineEdit(&dialog);
    why->setPlaceholderText(tr("reason"));
    why->setEnabled(false);
    connect(answer, &QComboBox::currentIndexChanged, why, [why](int i) { why->setEnabled(i == 3); });
    grid->addWidget(question, row, 0);
    grid->addWidget(answer, row, 1);
    grid->addWidget(why, row, 2);
    asked.emplace_back(lock.what.code, answer);
    reasons_given.emplace_back(answer, why);
    ++row;
  }
  grid->setColumnStretch(0, 1);
  texts->addLayout(grid);
  texts->addStretch(1);
  auto* area = new QScrollArea(&dialog);
  area->setWidgetResizable(true);
  area->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  area->setAccessibleName(dialog.windowTitle());
  area->setWidget(inside);
  all->addWidget(area, 1);
  auto* by = new QLineEdit(&dialog);
  by->setPlaceholderText(tr("your name, for the record"));
  by->setAccessibleName(by->placeholderText());
  all->addWidget(by);
  auto* buttons = new QDialogButtonBox(&dialog);
  auto* on = buttons->addButton(tr("power is on now"), QDialogButtonBox::AcceptRole);
  on->setObjectName(QStringLiteral("power-on"));
  buttons->addButton(tr("leave it off"), QDialogButtonBox::RejectRole);
  all->addWidget(buttons);
  connect(buttons, &QDialogButtonBox::accepted, &dialog, &QDialog::accept);
  connect(buttons, &QDialogButtonBox::rejected, &dialog, &QDialog::reject);
  // Small screens: the texts scroll, name and buttons stay in sight.
  const int wide = std::min(680, width() - 20);
  dialog.resize(wide, std::min(height() - 20, inside->heightForWidth(wide - 40) + 150));
  by->setFocus();
  if (dialog.exec() != QDialog::Accepted || live() != l) return;
  for (std::size_t i = 0; i < asked.size(); ++i) {
    event::Clearance c;
    c.code = asked[i].first;
    c.by = by->text().trimmed().toStdString();
    const int chosen = asked[i].second->currentIndex();
    c.cleared = chosen == 1 ? event::Known::yes : chosen == 2 ? event::Known::no : event::Known::unknown;
    if (chosen == 3) c.reason = reasons_given[i].second->text().trimmed().toStdString();
    if (Status s = l->clear(c); !s) return done(s);
  }
  const auto locks = readiness::standing(l->job(), *l->evidence());
  if (!readiness::mayPower(locks))
    return live_bar_->tell(tr("power stays off: %1").arg(coreText(readiness::inTheWay(locks))));
  if (const std::string open = hookUpOpen(); !open.empty())
    (void)l->note("power comes on with the hook-up open: " + open);
  done(l->power(event::PowerState::on));
}

std::string Window::hookUpOpen() const {
  const readiness::Sheet* s = source_->sheet();
  return s == nullptr
             ? std::string()
             : readiness::hookUpOpen(readiness::hookUpState(source_->job(), *source_->evidence(), *s));
}

bool Window::endRecording() {
  LiveSource* l = live();
  if (l == nullptr || !l->recording()) return true;
  const QString file = text(l->file()), job = text(l->job().file);
  if (Status ended = l->end(); !ended) {
    QMessageBox::warning(this, tr("the recording"), text(ended.error().text()));
    return false;
  }
  review(file, job);
  return true;
}

/// While a recording runs: ended, left running, or stay.
bool Window::mayLeave() {
  LiveSource* l = live();
  if (l == nullptr || !l->recording()) return true;
  QMessageBox box(
      QMessageBox::Question, tr("the recording runs"),
      tr("%1 is being written. End it, or leave it running? One that is left running is ended with "
         "`pin16 note --end`.")
          .arg(text(l->file())),
      QMessageBox::NoButton, this);
  auto* end = box.addButton(tr("end it"), QMessageBox::AcceptRole);
  auto* leave = box.addButton(tr("leave it running"), QMessageBox::DestructiveRole);
  auto* stay = box.addButton(tr("stay"), QMessageBox::RejectRole);
  end->setObjectName(QStringLiteral("end-it"));
  leave->setObjectName(QStringLiteral("leave-it"));
  stay->setObjectName(QStringLiteral("stay-here"));
  box.setEscapeButton(stay);
  box.exec();
  if (box.clickedButton() == end) {
    if (Status ended = l->end(); !ended) {
      QMessageBox::warning(this, tr("the recording"), text(ended.error().text()));
      return false;
    }
    return true;
  }
  return box.clickedButton() == leave;
}

void Window::closeEvent(QCloseEvent* e) {
  if (mayLeave())
    e->accept();
  else
    e->ignore();
}

void Window::backToStart() { stack_->setCurrentWidget(start_); }

void Window::review(const QString& file, const QString& job_file) {
  start_->tell({});
  if (!mayLeave()) return;
  job::Job job;
  job.name = tr("no job given").toStdString();
  QString job_path = job_file;
  if (job_path.isEmpty()) {
    const QString beside = QFileInfo(file).dir().filePath(QStringLiteral("job.toml"));
    if (QFileInfo::exists(beside)) job_path = beside;
  }
  if (!job_path.isEmpty()) {
    auto read = job::readJob(job_path.toStdString());
    if (!read) {
      start_->tell(text(read.error().text()));
      return;
    }
    job = std::move(*read);
  }
  auto source = std::make_unique<ReviewSource>(file.toStdString(), std::move(job));
  if (Status opened = source->start(); !opened) {
    start_->tell(text(opened.error().text()));
    return;
  }
  present(std::move(source));
}

void Window::present(std::unique_ptr<Source> source) {
  events_->show(nullptr);
  axis_->show(nullptr, 9);
  reasons_.reset();
  source_ = std::move(source);
  hook_up_->forget();
  attempts_->tell({});
  plugins_->forget();
  left_out_ = reasons::ruledOut(source_->job());
  skipped_.clear();
  reasons_ = std::make_unique<Reasons>(source_->job());
  connect(reasons_.get(), &Reasons::answered, this, [this] { judged(); });
  connect(source_.get(), &Source::judged, this, [this] {
    judged();
    think();
  });
  connect(source_.get(), &Source::drawn, this, &Window::drawn);
  connect(source_.get(), &Source::pluginsGrew, this, &Window::drawPlugins);
  connect(source_.get(), &Source::grew, this, [this] {
    header_->show(*source_);
    events_->refresh();
    if (const LiveSource* l = live()) live_bar_->show(*l);
  });
  live_bar_->setVisible(live() != nullptr);
  live_bar_->tell({});
  reasons_panel_->offerMeter(live() != nullptr && !bench_readings_.empty());
  connect(source_.get(), &Source::failed, this, [this](const QString& what) {
    backToStart();
    start_->tell(what);
  });
  events_->show(source_.get());
  drawn();
  judged();
  stack_->setCurrentWidget(sheet_);
  axis_->setFocus();
}

void Window::lookFromAfar(bool far) {
  if (!source_) return;
  stack_->setCurrentWidget(far ? static_cast<QWidget*>(far_) : sheet_);
  judged();
}

bool Window::moduleAnswers() const {
  const readiness::Sheet* s = source_->sheet();
  if (s == nullptr) return false;
  return std::any_of(s->steps.begin(), s->steps.end(), [](const auto& step) {
    return step.name == "answer" && step.verdict == readiness::Verdict::sound;
  });
}

void Window::judged() {
  header_->show(*source_);
  showPages();
  const readiness::Sheet* s = source_->sheet();
  const readiness::Evidence* e = source_->evidence();
  steps_->show(s);
  readiness::Evidence none;
  const readiness::Sheet empty{};
  const auto joints =
      readiness::supplyPath(source_->job(), e != nullptr ? *e : none, s != nullptr ? *s : empty);
  path_->show(source_->job(), joints);
  std::optional<readiness::Question> question;
  // Live, the sheet's own needed questions come first; what is reviewed can only be reasoned about.
  if (source_->live() && s != nullptr && e != nullptr && s->overall == readiness::Overall::undecided) {
    const auto all = readiness::nextQuestions(source_->job(), *e);
    const auto open = [&](const readiness::Question& q) {
      return q.needed && !skipped_.contains(q.point->name) &&
             (q.power != event::PowerState::on || e->power() == event::PowerState::on);
    };
    // What the head says decides, else the next in order: one thing at a time.
    auto next = std::find_if(all.begin(), all.end(), [&](const auto& q) {
      return open(q) && s->deciding && q.point->name == s->deciding->point;
    });
    if (next == all.end()) next = std::find_if(all.begin(), all.end(), open);
    if (next != all.end()) question = *next;
  }
  reasons_panel_->setAsked(e != nullptr && (e->sent() > 0 || !e->exchanges().empty()));
  reasons_panel_->show(moduleAnswers() ? std::nullopt : reasons_->answer(), question, moduleAnswers());
  if (stack_->currentWidget() == far_)
    far_->show(*source_, joints, reasons_panel_->asked(), reasons_panel_->how(), reasons_panel_->suffix(),
               live() != nullptr ? live()->attemptText() : QString());
}

void Window::think() {
  if (source_->sheet() == nullptr || moduleAnswers()) return;
  const readiness::Evidence* e = source_->evidence();
  reasons_->consider(source_->observations(), left_out_,
                     reasons::policyOf(source_->job(), e != nullptr && e->power() == event::PowerState::on));
}

void Window::drawn() {
  if (const LiveSource* l = live()) far_->hear(*l->timeline());
  if (live() != nullptr) {
    if (const LiveSource* l = live(); l->attemptRuns()) {
      live_bar_->show(*l);
      if (l->attemptText() != header_->verdict()->whole()) header_->show(*l);
      if (stack_->currentWidget() == far_) far_->show(*l, {}, {}, {}, {}, l->attemptText());
    }
    if (axis_->shows(source_->timeline())) return axis_->refresh();
  }
  const double least = source_->job().module.supply_min_V.value_or(source_->job().limits.value(
      source_->job().nominal_V > 12 ? "supply.module_min_24_V" : "supply.module_min_V"));
  axis_->nameLinks([source = source_.get()](std::uint16_t link) { return source->linkName(link); });
  axis_->show(source_->timeline(), least);
  drawPlugins();
}

void Window::drawPlugins() {
  std::vector<std::pair<QString, review::Pyramid>> series;
  for (const auto& plugin : source_->plugins())
    for (std::size_t i = 0; i < plugin.points.size() && i < plugin.facts.series.size(); ++i) {
      // Volts and amperes of meters are drawn above already.
      const auto& f = plugin.facts.series[i];
      if (f.unit == "V" || f.unit == "A" || plugin.points[i].empty()) continue;
      review::Pyramid values;
      for (const auto& p : plugin.points[i]) values.append(p.t_ns, p.value);
      const QString unit =
          f.unit.empty() || f.unit == "1" ? QString() : QStringLiteral(" (%1)").arg(text(f.unit));
      series.emplace_back(text(f.name) + unit, std::move(values));
    }
  axis_->setPlugins(std::move(series));
}

void Window::enter(const QString& reading) {
  const std::string what = reading.toStdString();
  // A point of a job first: it can be recorded as a reading. Else an answer that only the reasons know.
  if (auto m = job::parseReading(what)) {
    if (Status taken = source_->enter(*m); !taken) return reasons_panel_->tell(text(taken.error().text()));
    return reasons_panel_->tell({});
  }
  const auto o = reasons::parseObservation(what);
  if (!o) return reasons_panel_->tell(text(o.error().text()));
  source_->enter(*o);
  reasons_panel_->tell({});
}

}  // namespace pin16::gui
