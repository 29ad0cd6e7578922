// Whole files as bytes: read with a size limit, written so that a kill never leaves half a file.
#pragma once

#include <cstddef>
#include <string>
#include <string_view>
#include <vector>

#include "pivotrace/base/problem.h"
#include "pivotrace/disk/file_calls.h"

namespace pivotrace {

/// Largest input file that is read unless the caller says otherwise: 256 MiB, about two
/// million touches.
inline constexpr std::size_t default_read_limit_bytes = std::size_t{256} * 1024 * 1024;

/// All bytes of a file (or of a pipe).
/// Errors: P601 missing or unreadable (with the system's reason), P603 a folder, P604 larger than
/// `limit_bytes`; nothing is read beyond the limit.
Expected<std::string> read_file(const std::string& path, FileCalls& disk = system_file_calls(),
                                std::size_t limit_bytes = default_read_limit_bytes);

/// As read_file, for what will be replaced afterwards: devices and pipes are refused as P601.
Expected<std::string> read_regular_file(const std::string& path, FileCalls& disk,
                                        std::size_t limit_bytes = default_read_limit_bytes);

/// Replaces the file at `path` by `bytes`, all or nothing: the bytes go to a new file in the same
/// folder, reach the disk, and only then take the name. Permissions of an existing file are kept,
/// its owner where that is permitted, a symbolic link stays a link. Devices and pipes are written
/// directly. Errors: P602 with the system's reason, P603 a folder; the old file is then unchanged.
Expected<void> write_file(const std::string& path, std::string_view bytes,
                          FileCalls& disk = system_file_calls());

/// The first of these folders that holds a file of this name, as a path; empty when none does.
/// Errors: P601 a folder that is there but cannot be looked into.
Expected<std::string> find_in_folders(const std::string& name,
                                      const std::vector<std::string>& folders,
                                      FileCalls& disk = system_file_calls());

/// `file` as it is called from the folder that `from_file` lies in or will lie in. P601 when the
/// file, P602 when that folder cannot be looked up.
Expected<std::string> seen_from(const std::string& file, const std::string& from_file,
                                FileCalls& disk = system_file_calls());

/// SHA-256 of the bytes (FIPS 180-4) as 64 lower-case hexadecimal digits.
std::string sha256_hex(std::string_view bytes);

}  // namespace pivotrace
