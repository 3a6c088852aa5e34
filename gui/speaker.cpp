// SPDX-License-Identifier: GPL-3.0-or-later
#include "gui/speaker.hpp"

#include <QAudioDevice>
#include <QAudioFormat>
#include <QAudioSink>
#include <QIODevice>
#include <QMediaDevices>

namespace pin16::gui {
namespace {

constexpr int kRate_hz = 48000;

/// Endless: as many samples as are asked for.
class Samples : public QIODevice {
 public:
  explicit Samples(ToneGenerator& tone) : tone_(tone) { open(QIODevice::ReadOnly); }
  [[nodiscard]] bool isSequential() const override { return true; }
  [[nodiscard]] qint64 bytesAvailable() const override { return kRate_hz; }

 protected:
  qint64 readData(char* data, qint64 most) override {
    const std::size_t count = static_cast<std::size_t>(most) / sizeof(float);
    const std::size_t bytes = count * sizeof(float);
    tone_.fill({reinterpret_cast<float*>(data), count});
    return static_cast<qint64>(bytes);
  }
  qint64 writeData(const char*, qint64) override { return -1; }

 private:
  ToneGenerator& tone_;
};

}  // namespace

Speaker::Speaker(QObject* parent) : QObject(parent) {}
Speaker::~Speaker() { stop(); }

bool Speaker::start() {
  if (sink_) return true;
  const QAudioDevice device = QMediaDevices::defaultAudioOutput();
  QAudioFormat format;
  format.setSampleRate(kRate_hz);
  format.setChannelCount(1);
  format.setSampleFormat(QAudioFormat::Float);
  if (device.isNull() || !device.isFormatSupported(format)) return false;
  tone_ = std::make_unique<ToneGenerator>(kRate_hz);
  tone_->on(true);
  samples_ = std::make_unique<Samples>(*tone_);
  sink_ = std::make_unique<QAudioSink>(device, format);
  // A wiggle is heard while the hand still moves: 60 ms, own figure.
  sink_->setBufferSize(qsizetype{kRate_hz} * 60 / 1000 * static_cast<qsizetype>(sizeof(float)));
  sink_->start(samples_.get());
  if (sink_->error() == QAudio::NoError) return true;
  stop();
  return false;
}

void Speaker::stop() {
  if (sink_) sink_->stop();
  sink_.reset();
  samples_.reset();
  tone_.reset();
}

void Speaker::sound(bool on) {
  if (tone_) tone_->on(on);
}
void Speaker::follow(double pitch_hz) {
  if (tone_) tone_->follow(pitch_hz);
}
void Speaker::hold(double pitch_hz) {
  if (tone_) tone_->hold(pitch_hz);
}
void Speaker::click() {
  if (tone_) tone_->click();
}

}  // namespace pin16::gui
