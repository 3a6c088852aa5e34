// SPDX-License-Identifier: Apache-2.0
#pragma once
/// One interface for everything that carries frames: a kernel CAN interface, a replayed file, the simulated
/// bench. Every call and every callback runs on the thread of the io_context given in LinkContext.

#include <functional>
#include <initializer_list>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "core/base/result.hpp"
#include "core/event/batch.hpp"
#include "core/link/permit.hpp"

namespace boost::asio {
class io_context;
}

namespace pin16::link {

/// "SCHEME:TARGET?key=value&key=value".
struct Uri {
  std::string text;    ///< as given
  std::string scheme;  ///< socketcan, replay, bench
  std::string target;  ///< can0, a path, a scenario
  std::vector<std::pair<std::string, std::string>> options;
  [[nodiscard]] std::string option(std::string_view key) const {
    for (const auto& [k, v] : options)
      if (k == key) return v;
    return {};
  }
};
/// ErrorKind::usage with the known schemes named if the text is not "scheme:target".
[[nodiscard]] Result<Uri> parseUri(std::string_view text);

/// ErrorKind::usage if the URI has an option that is not among `known` (a misspelt one must not pass
/// silently).
[[nodiscard]] Status allowOptions(const Uri& uri, std::initializer_list<std::string_view> known);

/// Where a link hands in what it sees. Implemented by the recorder and by test doubles.
class Host {
 public:
  virtual ~Host() = default;
  /// A frame at CLOCK_BOOTTIME t; `outbound` = our own, in the sense of LinkState::own_frames.
  virtual void onFrame(std::uint16_t link, Ns t_boot_ns, const event::CanFrame& frame, bool outbound) = 0;
  /// Any other record, packed.
  virtual void onRecord(std::uint16_t link, Ns t_boot_ns, event::Kind kind, ByteView packed) = 0;
  /// Raw bytes of a serial link; `outbound` = written by us.
  virtual void onBytes(std::uint16_t link, Ns t_boot_ns, ByteView bytes, bool /*outbound*/) {
    onRecord(link, t_boot_ns, event::Kind::bytes, bytes);
  }
  /// What a permit let out could not be brought to the bus after send() had taken it (no initialisation, a
  /// collision): who waits for an answer need not wait. The link has told why by a record of its own.
  virtual void onUnsent(std::uint16_t /*link*/, Ns /*t_boot_ns*/) {}
  /// An attempt of the other equipment is recorded without its content: what a device said is not to be
  /// quoted, it may be an answer.
  [[nodiscard]] virtual bool blanksContent() const { return false; }
  /// A whole message of a line medium is emitted as event::Line, beside its raw bytes.
  template <class T>
  void emit(std::uint16_t link, Ns t_boot_ns, const T& record) {
    onRecord(link, t_boot_ns, event::kKindOf<T>, pack(record));
  }
};

struct Context {
  boost::asio::io_context& io;
  Host& host;
  std::uint16_t index = 0;  ///< the link number in every event
  /// Somebody asked for a search by its own word: a permit for its one request, 01 00 to all, with 11 or 29
  /// bit identifiers. Every failure is the gate's. Empty: no link may search.
  std::function<Result<Permit>(std::uint16_t link, bool extended)> search_permit{};
};

class Link {
 public:
  virtual ~Link() = default;
  /// Starts; returns at once, never throws. Everything that goes wrong is a LinkState event with text and
  /// advice; the link then tries again by itself until close().
  virtual void open() = 0;
  /// Stops; emits a last LinkState (finished). No callback after it returns.
  virtual void close() = 0;
  /// Hands what the permit carries to the device: a frame, or on a medium other than CAN a line message. A
  /// link gets only what its LinkState.medium can carry. ErrorKind::link with the reason if it cannot
  /// (listen-only, down, queue full). Emits event::Sent before the frame leaves.
  virtual Status send(Permit permit) = 0;
  /// The exchange that the last request opened is over: until then a device that can do one thing at a time
  /// does nothing else (reading its own supply meter).
  virtual void exchangeOver() {}
  [[nodiscard]] virtual const event::LinkState& state() const = 0;
  /// How silent it can be as it is set, known before it is opened: a sealed job opens none below its grade.
  /// What it turns out to be, LinkState.silence says.
  [[nodiscard]] virtual event::Silence silentAtBest() const { return event::Silence::cannot; }
  /// The operator named bit rate and format of this link in its URI, and the link can hear nothing before it
  /// asks, so that no frame can prove them: the gate takes the naming as vouching for this link.
  [[nodiscard]] virtual bool rateNamed() const { return false; }
};

/// What a job knows that a link may have to know beforehand.
struct Hints {
  std::optional<std::uint32_t> bitrate;    ///< bit/s
  bool extended = false;                   ///< the module's identifiers have 29 bits
  std::optional<std::uint32_t> answer_id;  ///< on which the module answers
  std::string protocol{};                  ///< by name (core/link/at.hpp); empty unknown
};

/// One scheme of URIs. `make` may fail with ErrorKind::usage (bad option) or ErrorKind::input (bad file).
struct Scheme {
  std::string name;
  std::string help;  ///< one line: what the target and the options are
  std::function<Result<std::unique_ptr<Link>>(const Uri&, const Context&)> make;
  bool meter = false;  ///< its links are instruments: they carry no frames and cannot be asked
  /// Options that a URI does not name and `hints` give, as "key=value&key=value"; empty function: none.
  std::function<std::string(const Uri&, const Hints&)> missing{};
  /// The option that makes its links search, "key=value"; empty: they cannot.
  std::string search{};
};
/// The URI with the option that makes its link search, if its scheme has one whose key is not named already.
[[nodiscard]] std::optional<std::string> searchUri(const std::string& uri);
void addScheme(Scheme scheme);
[[nodiscard]] const std::vector<Scheme>& schemes();
/// The URI with the options that its scheme takes from the hints; as it is if there are none.
[[nodiscard]] std::string completeUri(const std::string& uri, const Hints& hints);
/// The scheme of this URI is one of meters; false if it is not known.
[[nodiscard]] bool isMeter(std::string_view uri);
/// Registers the links of this room (socketcan, slcan, replay); idempotent.
void addBuiltInSchemes();
[[nodiscard]] Result<std::unique_ptr<Link>> makeLink(const Uri& uri, const Context& context);

}  // namespace pin16::link
