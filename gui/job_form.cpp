// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/job_form.hpp"

#include <QCheckBox>
#include <QComboBox>
#include <QDateTime>
#include <QDir>
#include <QFileDialog>
#include <QFileInfo>
#include <QFrame>
#include <QGridLayout>
#include <QHBoxLayout>
#include <QLabel>
#include <QLineEdit>
#include <QPushButton>
#include <QScrollArea>
#include <QStandardPaths>
#include <QVBoxLayout>
#include <algorithm>
#include <tuple>

#include "gui/found_panel.hpp"
#include "gui/look.hpp"

namespace pin16::gui {
namespace {

constexpr int kColumns = 2;

void clear(QWidget* input) {
  if (auto* l = qobject_cast<QLineEdit*>(input)) l->clear();
  if (auto* c = qobject_cast<QComboBox*>(input)) c->setCurrentIndex(0);
  if (auto* t = qobject_cast<QCheckBox*>(input)) t->setChecked(false);
}

QComboBox* comboOf(const std::vector<std::pair<QString, QString>>& values) {
  auto* c = comboBox();
  c->setSizeAdjustPolicy(QComboBox::AdjustToMinimumContentsLengthWithIcon);
  c->setMinimumContentsLength(8);
  for (const auto& [name, value] : values) c->addItem(name, value);
  return c;
}

}  // namespace

JobForm::JobForm(QWidget* parent) : QWidget(parent) {
  auto* outer = new QVBoxLayout(this);
  outer->setContentsMargins(0, 0, 0, 0);
  area_ = new QScrollArea(this);
  area_->setWidgetResizable(true);
  area_->setHorizontalScrollBarPolicy(Qt::ScrollBarAlwaysOff);
  area_->setFocusPolicy(Qt::NoFocus);
  outer->addWidget(area_);
  auto* inside = new QWidget;
  area_->setWidget(inside);
  cards_ = new QVBoxLayout(inside);
  cards_->setContentsMargins(28, 20, 28, 20);
  cards_->setSpacing(12);
  auto* title = label(tr("A new job"), Role::heading, true);
  cards_->addWidget(title);
  cards_->addWidget(label(tr("Only the arrangement must be known. What you do not know stays empty: a guess "
                             "here would be taken for knowledge later."),
                          Role::plain, true));
  makeHead();
  makeModule();
  makeSupply();
  makeLinks();

  trouble_ = label({}, Role::plain, true);
  trouble_->hide();
  cards_->addWidget(trouble_);
  auto* row = new QHBoxLayout;
  file_ = new QLineEdit;
  file_->setAccessibleName(tr("file of the job"));
  file_->setPlaceholderText(tr("file of the job"));
  auto* choose = new QPushButton(tr("choose \u2026"));
  choose->setAccessibleName(tr("choose: %1").arg(tr("file of the job")));
  row->addWidget(file_, 1);
  row->addWidget(choose);
  cards_->addLayout(row);
  auto* buttons = new QHBoxLayout;
  auto* save = new QPushButton(tr("write the job"));
  save->setObjectName(QStringLiteral("write-job"));
  auto* back = new QPushButton(tr("back"));
  back->setObjectName(QStringLiteral("leave-job"));
  buttons->addWidget(save);
  buttons->addWidget(back);
  buttons->addStretch(1);
  cards_->addLayout(buttons);
  cards_->addStretch(1);
  connect(choose, &QPushButton::clicked, this, [this] {
    // It would ask whether to overwrite, which is never done.
    const QString file = QFileDialog::getSaveFileName(this, tr("file of the job"), file_->text(),
                                                      tr("Jobs (*.toml);;All files (*)"), nullptr,
                                                      QFileDialog::DontConfirmOverwrite);
    if (!file.isEmpty()) file_->setText(file);
  });
  connect(save, &QPushButton::clicked, this, &JobForm::save);
  connect(back, &QPushButton::clicked, this, &JobForm::left);
  connect(&Look::the(), &Look::changed, this, &JobForm::changed);  // a fault's colour
  begin();
}

QGridLayout* JobForm::card(const QString& heading, const QString& what) {
  auto* frame = new QFrame;
  frame->setObjectName(QStringLiteral("card"));
  auto* box = new QVBoxLayout(frame);
  box->setContentsMargins(16, 12, 16, 14);
  box->setSpacing(8);
  box->addWidget(label(heading, Role::heading, true));
  if (!what.isEmpty()) box->addWidget(label(what, Role::faint, true));
  grid_ = new QGridLayout;
  grid_->setHorizontalSpacing(18);
  grid_->setVerticalSpacing(8);
  for (int i = 0; i < kColumns; ++i) grid_->setColumnStretch(i, 1);
  box->addLayout(grid_);
  cards_->addWidget(frame);
  cell_ = 0;
  return grid_;
}

QWidget* JobForm::cell(const QString& name, QWidget* input, QLabel*& fault) {
  auto* w = new QWidget;
  auto* box = new QVBoxLayout(w);
  box->setContentsMargins(0, 0, 0, 0);
  box->setSpacing(2);
  input->setAccessibleName(name);
  if (qobject_cast<QCheckBox*>(input) == nullptr) {
    auto* title = label(name, Role::faint, true);
    title->setBuddy(input);
    box->addWidget(title);
  }
  box->addWidget(input);
  fault = label({}, Role::plain, true);
  fault->hide();
  box->addWidget(fault);
  box->addStretch(1);
  return w;
}

void JobForm::place(QWidget* what, bool wide) {
  if (wide && cell_ % kColumns != 0) ++cell_;
  grid_->addWidget(what, cell_ / kColumns, cell_ % kColumns, 1, wide ? kColumns : 1);
  cell_ += wide ? kColumns : 1;
}

void JobForm::put(const std::string& key, const QString& name, QWidget* input, bool wide) {
  QLabel* fault = nullptr;
  place(cell(name, input, fault), wide);
  fields_.push_back({key, input, fault});
}

QLineEdit* JobForm::line(const std::string& key, const QString& name, const QString& example, bool wide) {
  auto* l = new QLineEdit;
  // An example must not pass for what stands there.
  if (!example.isEmpty()) l->setPlaceholderText(tr("for instance %1").arg(example));
  put(key, name, l, wide);
  connect(l, &QLineEdit::textChanged, this, &JobForm::changed);
  return l;
}

QComboBox* JobForm::choice(const std::string& key, const QString& name,
                           const std::vector<std::pair<QString, QString>>& values, bool wide) {
  auto* c = comboOf(values);
  put(key, name, c, wide);
  connect(c, &QComboBox::currentIndexChanged, this, &JobForm::changed);
  return c;
}

QCheckBox* JobForm::tick(const std::string& key, const QString& name) {
  auto* t = new QCheckBox(name);
  put(key, name, t, true);
  connect(t, &QCheckBox::toggled, this, &JobForm::changed);
  return t;
}

void JobForm::makeHead() {
  card(tr("The job"), {});
  line("job.name", tr("what people call it"), tr("Yard 14, silver van"), true);
  choice("job.arrangement", tr("arrangement"),
         {{tr("choose \u2026"), QString()},
          {tr("in the vehicle, its own battery"), QStringLiteral("own-battery")},
          {tr("in the vehicle, fed at the fuse slot"), QStringLiteral("fed-in-place")},
          {tr("removed, on the table"), QStringLiteral("removed")}});
  choice("job.access", tr("which bus"),
         {{tr("module's bus is on the connector"), QStringLiteral("connector")},
          {tr("behind a gateway"), QStringLiteral("gateway")},
          {tr("leads on the module's own bus"), QStringLiteral("direct")}});
  choice("job.nominal_V", tr("electrical system"),
         {{tr("12 V"), QStringLiteral("12")}, {tr("24 V"), QStringLiteral("24")}});
  line("job.power_up_budget", tr("budget of power-ups"), QStringLiteral("4"));
  line("job.stop_after_alike", tr("stop after so many attempts that end alike"), QStringLiteral("3"));
  line("job.wait_s", tr("wait with all supplies off, seconds"))
      ->setPlaceholderText(tr("this vehicle's own figure"));
  line("job.wait_source", tr("where that figure stands"), tr("service information, chapter"), true);
  tick("job.sealed", tr("sealed: nothing is ever sent, the gate stays shut"));
}

void JobForm::makeModule() {
  card(tr("The module"), tr("As far as it is known, from its label or the service information."));
  line("module.name", tr("what it is"), tr("restraint control module"));
  line("module.vin", tr("vehicle identification number"));
  line("module.pins", tr("its pins: feed, ground, bus"), tr("1 and 20 feed, 21 ground, 5 and 6 bus"), true);
  addressing_ = comboOf({{tr("identifiers unknown"), QString()},
                         {tr("11-bit identifiers"), QStringLiteral("11")},
                         {tr("29-bit identifiers"), QStringLiteral("29")},
                         {tr("address on K-line or J1850"), QStringLiteral("line")}});
  QLabel* none = nullptr;
  place(cell(tr("addressing"), addressing_, none), false);
  line("module.line_address", tr("its address"), QStringLiteral("58"));
  line("module.request_id", tr("identifier of requests"), QStringLiteral("7A1"));
  line("module.answer_id", tr("identifier of answers"), QStringLiteral("7A9"));
  line("module.supply_min_V", tr("least volts"), QStringLiteral("9.0"));
  line("module.supply_max_V", tr("most volts"), QStringLiteral("16.0"));
  auto* rate = choice("bus.bitrate", tr("bit rate, bit/s"),
                      {{tr("unknown"), QString()},
                       {QStringLiteral("500000"), QStringLiteral("500000")},
                       {QStringLiteral("250000"), QStringLiteral("250000")},
                       {QStringLiteral("125000"), QStringLiteral("125000")}});
  rate->setEditable(true);
  choice("bus.protocol", tr("bus"),
         {{tr("CAN, or unknown"), QString()},
          {QStringLiteral("iso9141-2"), QStringLiteral("iso9141-2")},
          {QStringLiteral("kwp-5baud"), QStringLiteral("kwp-5baud")},
          {QStringLiteral("kwp-fast"), QStringLiteral("kwp-fast")},
          {QStringLiteral("pwm-41600"), QStringLiteral("pwm-41600")},
          {QStringLiteral("vpw-10400"), QStringLiteral("vpw-10400")}});
  const auto addressed = [this](int i) {
    use({"module.request_id", "module.answer_id"}, i == 1 || i == 2);
    use({"module.line_address"}, i == 3);
    changed();
  };
  connect(addressing_, &QComboBox::currentIndexChanged, this, addressed);
  addressed(0);
}

void JobForm::makeSupply() {
  card(tr("What feeds it"), tr("For the prediction of a clean start. Leave it out if you do not know it."));
  source_ = comboOf({{tr("not described"), QString()},
                     {tr("battery or pack"), QStringLiteral("battery")},
                     {tr("bench supply with a limit"), QStringLiteral("supply")}});
  QLabel* none = nullptr;
  place(cell(tr("source"), source_, none), false);
  line("feed.emf_V", tr("its volts at rest"), QStringLiteral("12.6"));
  line("feed.limit_A", tr("its limit, A"), QStringLiteral("5"));
  line("feed.fuse_A", tr("fuse in the lead, A"), QStringLiteral("7.5"));
  line("feed.lead_mm2", tr("lead, mm\u00b2"), QStringLiteral("1.5"));
  line("feed.lead_length_m", tr("lead, m there and back"), QStringLiteral("10"));
  const auto chosen = [this](int i) {
    use({"feed.emf_V", "feed.fuse_A", "feed.lead_mm2", "feed.lead_length_m"}, i > 0);
    use({"feed.limit_A"}, i == 2);
    changed();
  };
  connect(source_, &QComboBox::currentIndexChanged, this, chosen);
  chosen(0);
}

void JobForm::makeLinks() {
  card(tr("Links and meters"),
       tr("What is plugged in shows here by itself. No port is opened to see what it is: you say so."));
  found_ = new FoundPanel;
  place(found_, true);
  connect(found_, &FoundPanel::taken, this, [this](const QString& uri, bool meter) {
    addEntry(meter, uri);
    changed();
  });
  auto* rows = new QWidget;
  entry_rows_ = new QVBoxLayout(rows);
  entry_rows_->setContentsMargins(0, 0, 0, 0);
  place(rows, true);
  auto* more = new QWidget;
  auto* across = new QHBoxLayout(more);
  across->setContentsMargins(0, 0, 0, 0);
  auto* link = new QPushButton(tr("another link"));
  link->setObjectName(QStringLiteral("add-link"));
  auto* meter = new QPushButton(tr("another meter"));
  meter->setObjectName(QStringLiteral("add-meter"));
  across->addWidget(link);
  across->addWidget(meter);
  across->addStretch(1);
  place(more, true);
  connect(link, &QPushButton::clicked, this, [this] { addEntry(false, {}); });
  connect(meter, &QPushButton::clicked, this, [this] { addEntry(true, {}); });
}

void JobForm::addEntry(bool meter, const QString& uri) {
  Entry e{meter, new QFrame, {}};
  auto* grid = new QGridLayout(e.frame);
  grid->setContentsMargins(0, 4, 0, 4);
  const auto add = [&](const char* key, const QString& name, QWidget* input, int column) {
    QLabel* fault = nullptr;
    grid->addWidget(cell(name, input, fault), 0, column);
    grid->setColumnStretch(column, 1);
    e.fields.push_back({key, input, fault});
  };
  auto* line = new QLineEdit(uri);
  line->setPlaceholderText(meter ? QStringLiteral("scpi:/dev/ttyUSB2") : QStringLiteral("socketcan:can0"));
  connect(line, &QLineEdit::textChanged, this, &JobForm::changed);
  add("uri", meter ? tr("meter") : tr("link"), line, 0);
  if (meter) {
    for (const auto& [key, name, unit, column] :
         {std::tuple{"volts", tr("its volts lie at"), "V", 1}, {"amperes", tr("its amperes are"), "A", 2}}) {
      std::vector<std::pair<QString, QString>> points{{tr("not used"), QString()}};
      for (const job::Point& p : job::points())
        if (p.unit == unit) points.emplace_back(text(p.name), text(p.name));
      auto* c = comboOf(points);
      connect(c, &QComboBox::currentIndexChanged, this, &JobForm::changed);
      add(key, name, c, column);
    }
  } else {
    auto* role = new QLineEdit;
    role->setPlaceholderText(tr("bus"));
    add("role", tr("what for"), role, 1);
  }
  auto* away = new QPushButton(tr("take away"), e.frame);
  away->setAccessibleName(tr("take away this link or meter"));
  grid->addWidget(away, 0, 3, Qt::AlignVCenter);
  entry_rows_->addWidget(e.frame);
  QWidget* frame = e.frame;
  connect(away, &QPushButton::clicked, this, [this, frame] {
    std::erase_if(entries_, [frame](const Entry& x) { return x.frame == frame; });
    frame->hide();
    frame->deleteLater();
    changed();
  });
  entries_.push_back(std::move(e));
}

void JobForm::use(std::initializer_list<const char*> keys, bool used) {
  for (const char* key : keys) {
    input(key)->setEnabled(used);
    input(key)->parentWidget()->setVisible(used);
  }
}

void JobForm::begin() {
  for (const Field& f : fields_) clear(f.input);
  addressing_->setCurrentIndex(0);
  source_->setCurrentIndex(0);
  for (const Entry& e : entries_) e.frame->deleteLater();
  entries_.clear();
  judged_ = false;
  tell({}, {}, false);
  QString base = QStandardPaths::writableLocation(QStandardPaths::DocumentsLocation);
  if (base.isEmpty()) base = QDir::homePath();
  file_->setText(base + QStringLiteral("/Pin16/") +
                 QDateTime::currentDateTimeUtc().toString(QStringLiteral("yyyyMMdd-hhmmss")) +
                 QStringLiteral("/job.toml"));
  area_->ensureVisible(0, 0);
}

QString JobForm::valueOf(const QWidget* input) {
  if (!input->isEnabled()) return {};
  if (const auto* l = qobject_cast<const QLineEdit*>(input)) return l->text();
  if (const auto* t = qobject_cast<const QCheckBox*>(input))
    return t->isChecked() ? QStringLiteral("true") : QString();
  const auto* c = qobject_cast<const QComboBox*>(input);
  if (c == nullptr) return {};
  // What was typed into an editable one is none of its items.
  return c->isEditable() && c->currentText() != c->itemText(c->currentIndex()) ? c->currentText()
                                                                               : c->currentData().toString();
}

std::vector<JobForm::Field> JobForm::all() const {
  std::vector<Field> out = fields_;
  int numbers[2] = {0, 0};
  for (const Entry& e : entries_) {
    const std::string table =
        (e.meter ? "meter." : "link.") + std::to_string(numbers[e.meter ? 1 : 0]++) + ".";
    for (const Field& f : e.fields) out.push_back({table + f.key, f.input, f.fault});
  }
  return out;
}

job::Draft JobForm::draft() const {
  job::Draft out;
  for (const Field& f : all()) out.emplace_back(f.key, valueOf(f.input).toStdString());
  if (addressing_->currentIndex() == 2) out.emplace_back("module.extended", "true");
  return out;
}

QWidget* JobForm::input(const std::string& key) const {
  for (const Field& f : all())
    if (f.key == key) return f.input;
  return nullptr;
}

QString JobForm::faultAt(const std::string& key) const {
  for (const Field& f : all())
    if (f.key == key && !f.fault->isHidden()) return f.fault->text();
  return {};
}

void JobForm::changed() {
  if (judged_) judge(false);
}

void JobForm::tell(const std::string& key, const QString& what, bool go_there) {
  const QString shown = what.isEmpty() ? QString() : QStringLiteral("\u2715 ") + what;
  const Field* at = nullptr;
  const std::vector<Field> fields = all();
  for (const Field& f : fields) {
    // A table that lacks something is shown at its first field.
    const bool here = at == nullptr && !key.empty() && (f.key == key || f.key.starts_with(key + "."));
    if (here) at = &f;
    f.fault->setText(here ? shown : QString());
    f.fault->setVisible(here && !shown.isEmpty());
    f.input->setAccessibleDescription(here ? what : QString());
  }
  QPalette alarm = trouble_->palette();
  alarm.setColor(QPalette::WindowText, Look::the().colours().faulty);
  (at != nullptr ? at->fault : trouble_)->setPalette(alarm);
  trouble_->setText(at == nullptr ? shown : QString());
  trouble_->setVisible(at == nullptr && !shown.isEmpty());
  if (!go_there || what.isEmpty()) return;
  QWidget* to = at != nullptr ? at->input : static_cast<QWidget*>(file_);
  to->setFocus();
  area_->ensureWidgetVisible(at != nullptr ? static_cast<QWidget*>(at->fault) : trouble_);
}

bool JobForm::judge(bool go_there) {
  // The loader names the table only; none is the default, a wrong one would be believed.
  if (valueOf(input("job.arrangement")).isEmpty()) {
    tell("job.arrangement", tr("Choose one: what is expected follows from it."), go_there);
    return false;
  }
  const auto fault = job::checkDraft(draft());
  if (!fault) {
    tell({}, {}, false);
    return true;
  }
  const Error& e = fault->error;
  tell(fault->key, text(e.what + (e.advice.empty() ? "" : ". " + e.advice)), go_there);
  return false;
}

void JobForm::save() {
  judged_ = true;
  if (!judge(true)) return;
  const QString file = file_->text().trimmed();
  if (file.isEmpty()) return tell({}, tr("Say where the job is to be written."), true);
  if (const QString folder = QFileInfo(file).absolutePath(); !QDir().mkpath(folder))
    return tell({}, tr("%1 cannot be made").arg(folder), true);
  const auto job = job::createJob(file.toStdString(), draft());
  if (!job) return tell({}, text(job.error().text()), true);
  Q_EMIT made(file);
}

}  // namespace pin16::gui
