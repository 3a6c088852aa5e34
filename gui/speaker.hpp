// SPDX-License-Identifier: GPL-3.0-or-later
#pragma once
/// Plays a ToneGenerator on the machine's audio output. GUI thread only: Qt asks for samples there.

#include <QObject>
#include <memory>

#include "gui/tone.hpp"

class QAudioSink;
class QIODevice;

namespace pin16::gui {

class Speaker : public QObject {
 public:
  explicit Speaker(QObject* parent = nullptr);
  ~Speaker() override;
  /// False: this machine has no audio output that takes it.
  bool start();
  void stop();
  [[nodiscard]] bool plays() const { return sink_ != nullptr; }
  void sound(bool on);
  void follow(double pitch_hz);
  void hold(double pitch_hz);
  void click();

 private:
  std::unique_ptr<ToneGenerator> tone_;
  std::unique_ptr<QIODevice> samples_;
  std::unique_ptr<QAudioSink> sink_;
};

}  // namespace pin16::gui
