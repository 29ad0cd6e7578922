#include "disk/crash_disk.h"

#include <algorithm>
#include <cerrno>
#include <cstring>

namespace pivotrace::testing {

bool CrashDisk::fails() {
  if (dead_) throw Killed();
  ++calls_;
  if (fault == Fault::none || calls_ != fault_at) return false;
  if (fault == Fault::kill) {
    dead_ = true;
    throw Killed();
  }
  errno = error;
  return true;
}

void CrashDisk::add_file(const std::string& path, const std::string& bytes, unsigned mode) {
  const int node = next_++;
  nodes_[node] = {bytes, bytes, mode};
  names_[path] = synced_names_[path] = node;
}

void CrashDisk::die(Aftermath aftermath) {
  dead_ = false;
  fault = Fault::none;
  open_.clear();
  if (aftermath == Aftermath::process_killed) return;
  if (aftermath == Aftermath::power_cut) names_ = synced_names_;
  for (auto& [number, node] : nodes_) node.bytes = node.synced;
}

std::string CrashDisk::content(const std::string& path) const {
  return nodes_.at(names_.at(path)).bytes;
}

unsigned CrashDisk::mode(const std::string& path) const { return nodes_.at(names_.at(path)).mode; }

std::vector<std::string> CrashDisk::names() const {
  std::vector<std::string> all;
  for (const auto& [name, node] : names_) all.push_back(name);
  return all;
}

int CrashDisk::real_path(const std::string& path, std::string& real) {
  if (fails()) return -1;
  real = path;
  return 0;
}

int CrashDisk::program(std::string& path) { return real_path("/bin/pivotrace", path); }

int CrashDisk::status(const std::string& path, FileStatus& status) {
  if (fails()) return -1;
  if (!exists(path)) {
    errno = ENOENT;
    return -1;
  }
  status = {};
  status.regular = true;
  status.mode = mode(path);
  status.size = content(path).size();
  return 0;
}

int CrashDisk::open_to_read(const std::string& path) {
  if (fails()) return -1;
  if (!exists(path)) {
    errno = ENOENT;
    return -1;
  }
  const int file = next_++;
  open_[file] = {names_.at(path), 0};
  return file;
}

int CrashDisk::may_write(const std::string& path) {
  if (fails()) return -1;
  if (exists(path) && (mode(path) & 0200U) != 0) return 0;
  errno = exists(path) ? EACCES : ENOENT;
  return -1;
}

/// There are no devices here, and only devices and pipes are written in place.
int CrashDisk::open_to_write(const std::string&) {
  if (!fails()) errno = ENXIO;
  return -1;
}

int CrashDisk::create_new(const std::string& path, unsigned mode) {
  if (fails()) return -1;
  if (exists(path)) {
    errno = EEXIST;
    return -1;
  }
  const int node = next_++;
  nodes_[node] = {"", "", mode};
  names_[path] = node;
  const int file = next_++;
  open_[file] = {node, 0};
  return file;
}

int CrashDisk::open_folder(const std::string&) {
  if (fails()) return -1;
  const int file = next_++;
  open_[file] = {-1, 0};
  return file;
}

ssize_t CrashDisk::read(int file, char* to, std::size_t count) {
  if (fails()) return -1;
  Open& open = open_.at(file);
  const std::string& bytes = nodes_.at(open.node).bytes;
  const std::size_t taken = std::min(count, bytes.size() - std::min(open.at, bytes.size()));
  std::memcpy(to, bytes.data() + open.at, taken);
  open.at += taken;
  return static_cast<ssize_t>(taken);
}

ssize_t CrashDisk::write(int file, const char* from, std::size_t count) {
  std::string& bytes = nodes_.at(open_.at(file).node).bytes;
  const std::size_t taken = std::min(count, most_per_write);
  // A write that fails or is killed may have come half way.
  const std::size_t half = taken / 2;
  try {
    if (fails()) {
      bytes.append(from, half);
      return -1;
    }
  } catch (const Killed&) {
    bytes.append(from, half);
    throw;
  }
  bytes.append(from, taken);
  return static_cast<ssize_t>(taken);
}

int CrashDisk::change_owner(int, unsigned, unsigned) { return fails() ? -1 : 0; }

int CrashDisk::change_mode(int file, unsigned mode) {
  if (fails()) return -1;
  nodes_.at(open_.at(file).node).mode = mode;
  return 0;
}

int CrashDisk::sync(int file) {
  if (fails()) return -1;
  const Open& open = open_.at(file);
  if (open.node < 0) {
    synced_names_ = names_;
  } else {
    Node& node = nodes_.at(open.node);
    node.synced = node.bytes;
  }
  return 0;
}

/// Files close themselves on every way out, so this one must not throw: killed here, the program
/// dies at its next call, which leaves the disk the same.
int CrashDisk::close(int file) {
  open_.erase(file);
  if (dead_) return 0;
  if (fault == Fault::kill && calls_ + 1 == fault_at) {
    ++calls_;
    dead_ = true;
    return 0;
  }
  return fails() ? -1 : 0;
}

int CrashDisk::rename(const std::string& from, const std::string& to) {
  if (fails()) return -1;
  names_[to] = names_.at(from);
  names_.erase(from);
  return 0;
}

int CrashDisk::remove(const std::string& path) {
  if (fails()) return -1;
  if (names_.erase(path) == 1) return 0;
  errno = ENOENT;
  return -1;
}

}  // namespace pivotrace::testing
