// SPDX-License-Identifier: Apache-2.0
#pragma once
/// A plugin's file: may it be trusted, was it built for this interface, and loading it.

#include <memory>
#include <string>

#include "core/base/result.hpp"
#include "core/plugin/include/pin16/plugin.h"

namespace pin16::plugin {

/// Refuses a file that others can write or that belongs to neither root nor this user, itself or its folder,
/// and what is no regular file. ErrorKind::input with the command that mends it.
[[nodiscard]] Status trustFile(const std::string& path);

/// Reads pin16_plugin_card out of the file and compares it with ours; nothing of the file is loaded or run.
/// ErrorKind::input: no shared library for this machine, no card, another major or sizes.
[[nodiscard]] Status checkCard(const std::string& path);

/// A loaded plugin; unloaded with the object. Loading runs the library's constructors: after trustFile() and
/// checkCard() only, and for what is not shipped only in a helper process.
class Library {
 public:
  [[nodiscard]] static Result<std::unique_ptr<Library>> load(const std::string& path);
  ~Library();
  Library(const Library&) = delete;
  Library& operator=(const Library&) = delete;
  [[nodiscard]] const pin16_plugin& plugin() const { return *plugin_; }

 private:
  Library(void* handle, const pin16_plugin* plugin) : handle_(handle), plugin_(plugin) {}
  void* handle_;
  const pin16_plugin* plugin_;
};

}  // namespace pin16::plugin
