// SPDX-License-Identifier: Apache-2.0
#include "core/plugin/library.hpp"

#include <dlfcn.h>
#include <elf.h>
#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cerrno>
#include <cstring>
#include <filesystem>
#include <optional>
#include <vector>

namespace pin16::plugin {
namespace {

constexpr pin16_card kOurs = PIN16_CARD_HERE;
constexpr char kCardName[] = "pin16_plugin_card";
constexpr char kPluginName[] = "pin16_plugin_1";
// Larger tables than these are no plugin's (own figures); they bound what is read of a damaged file.
constexpr std::uint64_t kSectionsMax = 4096, kTableMax = 64U << 20U;

#if defined(__x86_64__)
constexpr std::uint16_t kMachine = EM_X86_64;
#elif defined(__aarch64__)
constexpr std::uint16_t kMachine = EM_AARCH64;
#else
constexpr std::uint16_t kMachine = EM_NONE;
#endif

Error refused(const std::string& path, std::string what, std::string advice) {
  return {ErrorKind::input, std::move(what), path, std::move(advice)};
}

/// A file read by offset; every length is held against its size.
class File {
 public:
  explicit File(const std::string& path) : fd_(open(path.c_str(), O_RDONLY | O_CLOEXEC)) {
    struct stat s {};
    if (fd_ >= 0 && fstat(fd_, &s) == 0) size_ = static_cast<std::uint64_t>(s.st_size);
  }
  ~File() {
    if (fd_ >= 0) close(fd_);
  }
  File(const File&) = delete;
  File& operator=(const File&) = delete;
  [[nodiscard]] bool good() const { return fd_ >= 0; }
  [[nodiscard]] bool read(std::uint64_t offset, void* to, std::uint64_t count) const {
    if (offset > size_ || count > size_ - offset) return false;
    return pread(fd_, to, count, static_cast<off_t>(offset)) == static_cast<ssize_t>(count);
  }
  template <class T>
  [[nodiscard]] std::optional<std::vector<T>> table(std::uint64_t offset, std::uint64_t bytes) const {
    if (bytes > kTableMax) return std::nullopt;
    std::vector<T> out(bytes / sizeof(T));
    if (!read(offset, out.data(), out.size() * sizeof(T))) return std::nullopt;
    return out;
  }

 private:
  int fd_;
  std::uint64_t size_ = 0;
};

/// The card's bytes in the file; nothing if there is no such symbol in data that needs no relocation.
std::optional<pin16_card> findCard(const File& file, const Elf64_Ehdr& head) {
  if (head.e_shnum == 0 || head.e_shnum > kSectionsMax || head.e_shentsize != sizeof(Elf64_Shdr))
    return std::nullopt;
  const auto sections = file.table<Elf64_Shdr>(head.e_shoff, head.e_shnum * sizeof(Elf64_Shdr));
  if (!sections) return std::nullopt;
  for (const Elf64_Shdr& s : *sections) {
    if (s.sh_type != SHT_DYNSYM || s.sh_link >= sections->size()) continue;
    const auto symbols = file.table<Elf64_Sym>(s.sh_offset, s.sh_size);
    const Elf64_Shdr& strings = (*sections)[s.sh_link];
    const auto names = file.table<char>(strings.sh_offset, strings.sh_size);
    if (!symbols || !names) return std::nullopt;
    for (const Elf64_Sym& symbol : *symbols) {
      if (symbol.st_name >= names->size() || names->size() - symbol.st_name < sizeof kCardName ||
          std::memcmp(names->data() + symbol.st_name, kCardName, sizeof kCardName) != 0)
        continue;
      if (symbol.st_shndx >= sections->size()) return std::nullopt;
      const Elf64_Shdr& in = (*sections)[symbol.st_shndx];
      if (in.sh_type != SHT_PROGBITS || symbol.st_value < in.sh_addr) return std::nullopt;
      // A card of an older or newer interface may be shorter or longer: its first four numbers are enough to
      // say so.
      pin16_card card{};
      const std::uint64_t size = std::min<std::uint64_t>(symbol.st_size, sizeof card);
      if (!file.read(in.sh_offset + (symbol.st_value - in.sh_addr), &card, size)) return std::nullopt;
      return card;
    }
  }
  return std::nullopt;
}

}  // namespace

Status trustFile(const std::string& path) {
  std::error_code problem;
  const std::string real = std::filesystem::canonical(path, problem).string();
  if (problem) return refused(path, fmt::format("cannot be read: {}", problem.message()), "");
  const std::string folder = std::filesystem::path(real).parent_path().string();
  for (const std::string& one : {folder, real}) {
    struct stat s {};
    if (stat(one.c_str(), &s) != 0)
      return refused(one, fmt::format("cannot be read: {}", std::strerror(errno)), "");
    const bool is_folder = &one == &folder || one == folder;
    if (!is_folder && !S_ISREG(s.st_mode)) return refused(one, "is no regular file", "");
    if (s.st_uid != 0 && s.st_uid != geteuid())
      return refused(
          one, "belongs neither to you nor to root: whoever owns it could change what runs here",
          fmt::format("take over a copy that you have looked at: cp '{}' ~/.local/share/pin16/plugins/",
                      real));
    if ((s.st_mode & S_IWOTH) != 0 || ((s.st_mode & S_IWGRP) != 0 && s.st_gid != 0 && s.st_gid != getegid()))
      return refused(one, "can be written by others", fmt::format("chmod go-w '{}'", one));
  }
  return {};
}

Status checkCard(const std::string& path) {
  const File file(path);
  if (!file.good()) return refused(path, fmt::format("cannot be read: {}", std::strerror(errno)), "");
  Elf64_Ehdr head{};
  if (!file.read(0, &head, sizeof head) || std::memcmp(head.e_ident, ELFMAG, SELFMAG) != 0 ||
      head.e_ident[EI_CLASS] != ELFCLASS64 || head.e_ident[EI_DATA] != ELFDATA2LSB || head.e_type != ET_DYN)
    return refused(path, "is no shared library of 64 bits", "");
  if (head.e_machine != kMachine)
    return refused(path, "was built for another kind of machine", "rebuild it on this one");
  const auto card = findCard(file, head);
  if (!card || card->magic != PIN16_CARD_MAGIC)
    return refused(path, fmt::format("is no plugin of Pin16: it has no {}", kCardName),
                   "see docs/plugins.md");
  if (card->major != kOurs.major || card->minor > kOurs.minor)
    return refused(path,
                   fmt::format("was built for interface {}.{}, this Pin16 has {}.{}", card->major,
                               card->minor, kOurs.major, kOurs.minor),
                   "rebuild it against this Pin16's plugin.h");
  pin16_card expected = kOurs;
  expected.minor = card->minor;  // no structure of the card has grown since minor 0
  if (std::memcmp(&*card, &expected, sizeof expected) != 0)
    return refused(path, "has structures of other sizes than interface 1 has",
                   "rebuild it against this Pin16's plugin.h");
  return {};
}

Result<std::unique_ptr<Library>> Library::load(const std::string& path) {
  void* handle = dlopen(path.c_str(), RTLD_NOW | RTLD_LOCAL);
  if (handle == nullptr) return refused(path, fmt::format("cannot be loaded: {}", dlerror()), "");
  const auto* plugin = static_cast<const pin16_plugin*>(dlsym(handle, kPluginName));
  if (plugin == nullptr) {
    dlclose(handle);
    return refused(path, fmt::format("is no plugin of Pin16: it has no {}", kPluginName),
                   "see docs/plugins.md");
  }
  return std::unique_ptr<Library>(new Library(handle, plugin));
}

Library::~Library() { dlclose(handle_); }

}  // namespace pin16::plugin
