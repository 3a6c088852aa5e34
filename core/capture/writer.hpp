// SPDX-License-Identifier: Apache-2.0
#pragma once
/// The capture file as it is written: pcapng with two sidecars (docs/capture-format.md).

#include <map>
#include <memory>
#include <optional>
#include <string>
#include <tuple>
#include <vector>

#include "core/base/result.hpp"
#include "core/capture/hash.hpp"
#include "core/event/batch.hpp"

namespace pin16::capture {

/// What the section header says.
struct SectionFacts {
  std::string application;
  std::string os;
  std::string hardware;
  std::string comment;   ///< for instance whether the job seals stimulus
  Ns utc_offset_ns = 0;  ///< UTC minus CLOCK_BOOTTIME at the start; all times of the file use this one
};

/// Encodes batches into a new pcapng file. One owner, one thread (the recorder's writer thread); nothing is
/// started inside. Another thread may fdatasync fd() at any time between create() and destruction.
/// Destroyed without finish(), the file is what a crash leaves: whole up to the last flush, no FILE.sha256.
class Writer {
 public:
  /// Makes PATH and PATH.blocks, writes the section header. ErrorKind::record if PATH or a sidecar of that
  /// name exists (nothing is ever overwritten) or cannot be made.
  [[nodiscard]] static Result<std::unique_ptr<Writer>> create(const std::string& path,
                                                              const SectionFacts& facts);
  ~Writer();
  Writer(const Writer&) = delete;
  Writer& operator=(const Writer&) = delete;

  /// Appends a live batch (times CLOCK_BOOTTIME) to the buffer; touches no file. ErrorKind::internal names
  /// an event that cannot be written (link index, size); all others of the batch are in the buffer.
  Status take(const event::Batch& batch);
  /// Writes the buffer, whole blocks only. ErrorKind::record with the path and the bytes written so far; what
  /// is not written stays in the buffer, so a later flush can go on.
  Status flush();
  /// fdatasync of file and FILE.blocks.
  Status sync();
  /// Final statistics, flush, last line of FILE.blocks, FILE.sha256, sync. Nothing can be taken after it.
  Status finish();

  [[nodiscard]] int fd() const { return fd_; }
  [[nodiscard]] std::uint64_t written() const { return written_; }  ///< bytes in the file
  [[nodiscard]] const std::string& path() const { return path_; }

 private:
  struct Interface {
    std::uint64_t received = 0;
    std::uint64_t dropped = 0;
  };
  /// What makes a new interface of a link: everything its description states.
  using Mode = std::tuple<std::string, std::uint32_t, std::uint32_t, event::Known, event::Known,
                          event::Silence, std::string>;
  struct LinkSlot {
    std::optional<std::uint32_t> current;
    std::map<Mode, std::uint32_t> modes;  ///< an adapter that searches does not add interfaces for ever
  };

  Writer(std::string path, int fd, int blocks_fd, Ns utc_offset_ns);
  void addSection(const SectionFacts& facts);
  std::uint32_t addInterface(std::uint16_t linktype, const std::string& comment,
                             const event::LinkState& facts);
  std::uint32_t canInterface(std::uint16_t link);
  void noteState(std::uint16_t link, const event::LinkState& state);
  void addFrame(const event::Header& h, ByteView payload);
  void addRecord(const event::Header& h, const event::Batch& batch);
  void addStatistics();
  Status takeOne(const event::Header& h, const event::Batch& batch);
  [[nodiscard]] std::uint64_t fileTime(Ns t_boot_ns) const;
  Status hashWritten(ByteView bytes);
  Status addBlockLine();
  [[nodiscard]] Error failed(const std::string& what, const std::string& path, int error) const;

  const std::string path_;
  const int fd_;
  const int blocks_fd_;
  const Ns utc_offset_ns_;
  Bytes buffer_;
  std::uint64_t written_ = 0;
  std::vector<Interface> interfaces_;  ///< index = pcapng interface; the private ones stay zero
  std::vector<std::uint32_t> can_;     ///< those of CAN links
  std::vector<LinkSlot> links_;        ///< index = link of the run
  std::optional<std::uint32_t> records_;
  std::optional<std::uint32_t> bytes_;
  Ns start_ns_ = kNoTime;  ///< of the first event
  Ns last_ns_ = kNoTime;   ///< latest event
  Ns statistics_ns_ = kNoTime;
  Sha256 total_;
  Sha256 block_;
  std::uint64_t block_index_ = 0;
  std::uint64_t block_held_ = 0;  ///< bytes in block_
  bool finished_ = false;
};

}  // namespace pin16::capture
