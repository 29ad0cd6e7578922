// The calls of Windows, with the errors of POSIX. Names are UTF-8 on our side and UTF-16 on its side, may
// be longer than 260 characters, and come back with '/', so that what travels in files reads anywhere.
#include <aclapi.h>
#include <fcntl.h>
#include <io.h>
#include <windows.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <limits>
#include <utility>

#include "pivotrace/disk/file_calls.h"
#include "pivotrace/disk/file_name.h"

namespace pivotrace {

namespace {

constexpr unsigned read_only_mode = 0444;
constexpr unsigned usual_file_mode = 0666;
constexpr unsigned any_write_bit = 0222;
constexpr DWORD share_all = FILE_SHARE_READ | FILE_SHARE_WRITE | FILE_SHARE_DELETE;
/// MAX_PATH counts the end mark, and a folder needs room for a name of 8.3 letters (Naming Files, Paths,
/// and Namespaces, in the Win32 documentation).
constexpr std::size_t longest_plain_name = 247;

constexpr std::array<std::pair<DWORD, int>, 24> error_numbers = {{
    {ERROR_FILE_NOT_FOUND, ENOENT},
    {ERROR_PATH_NOT_FOUND, ENOENT},
    {ERROR_INVALID_NAME, ENOENT},
    {ERROR_BAD_PATHNAME, ENOENT},
    {ERROR_BAD_NETPATH, ENOENT},
    {ERROR_BAD_NET_NAME, ENOENT},
    {ERROR_INVALID_DRIVE, ENOENT},
    {ERROR_DIRECTORY, ENOTDIR},
    {ERROR_ACCESS_DENIED, EACCES},
    {ERROR_NETWORK_ACCESS_DENIED, EACCES},
    {ERROR_SHARING_VIOLATION, EBUSY},
    {ERROR_LOCK_VIOLATION, EBUSY},
    {ERROR_USER_MAPPED_FILE, EBUSY},
    {ERROR_WRITE_PROTECT, EROFS},
    {ERROR_DISK_FULL, ENOSPC},
    {ERROR_HANDLE_DISK_FULL, ENOSPC},
    {ERROR_FILE_EXISTS, EEXIST},
    {ERROR_ALREADY_EXISTS, EEXIST},
    {ERROR_FILENAME_EXCED_RANGE, ENAMETOOLONG},
    {ERROR_INVALID_HANDLE, EBADF},
    {ERROR_NOT_ENOUGH_MEMORY, ENOMEM},
    {ERROR_TOO_MANY_OPEN_FILES, EMFILE},
    {ERROR_BROKEN_PIPE, EPIPE},
    {ERROR_NO_DATA, EPIPE},
}};

int refused() {
  const DWORD error = GetLastError();
  const auto* known = std::find_if(error_numbers.begin(), error_numbers.end(),
                                   [error](const auto& pair) { return pair.first == error; });
  errno = known == error_numbers.end() ? EIO : known->second;
  return -1;
}

/// In full, in the spelling that has no limit of length.
std::wstring without_limit(const std::wstring& name) {
  std::wstring full(GetFullPathNameW(name.c_str(), 0, nullptr, nullptr), L'\0');
  full.resize(
      GetFullPathNameW(name.c_str(), static_cast<DWORD>(full.size()), full.data(), nullptr));
  if (full.starts_with(L"\\\\"))
    return full.starts_with(L"\\\\?\\") ? full : L"\\\\?\\UNC" + full.substr(1);
  return L"\\\\?\\" + full;
}

std::wstring system_name(const std::string& path) {
  const std::filesystem::path said = path_of(path).make_preferred();
  std::wstring name = said.native();
  const bool relative = said.is_relative();
  const std::size_t length = name.size() + (relative ? GetCurrentDirectoryW(0, nullptr) : 0);
  return length > longest_plain_name ? without_limit(name) : name;
}

std::string our_name(std::wstring name) {
  if (name.starts_with(L"\\\\?\\UNC\\")) {
    name.replace(0, 7, L"\\");
  } else if (name.starts_with(L"\\\\?\\")) {
    name.erase(0, 4);
  }
  return name_of(name);
}

class Handle {
 public:
  explicit Handle(HANDLE handle) : handle_(handle) {}
  ~Handle() {
    if (valid()) CloseHandle(handle_);
  }
  Handle(const Handle&) = delete;
  Handle& operator=(const Handle&) = delete;
  bool valid() const { return handle_ != INVALID_HANDLE_VALUE; }
  HANDLE get() const { return handle_; }
  HANDLE release() { return std::exchange(handle_, INVALID_HANDLE_VALUE); }

 private:
  HANDLE handle_;
};

/// FILE_FLAG_BACKUP_SEMANTICS opens folders too.
HANDLE opened(const std::string& path, DWORD access, DWORD disposition, DWORD flags = 0) {
  return CreateFileW(system_name(path).c_str(), access, share_all, nullptr, disposition,
                     FILE_ATTRIBUTE_NORMAL | flags, nullptr);
}

int file_number(HANDLE file, int flags) {
  Handle handle(file);
  if (!handle.valid()) return refused();
  const int number = _open_osfhandle(reinterpret_cast<intptr_t>(handle.get()), flags | _O_BINARY);
  if (number >= 0) handle.release();
  return number;
}

HANDLE handle_of(int file) { return reinterpret_cast<HANDLE>(_get_osfhandle(file)); }

/// Who may do what with the old file may do it with the new one, as far as this user may say so: where he
/// may not, the new file takes over what holds for its folder.
void copy_permissions(const std::wstring& from, const std::wstring& to) {
  PACL access = nullptr;
  PSECURITY_DESCRIPTOR descriptor = nullptr;
  if (GetNamedSecurityInfoW(from.c_str(), SE_FILE_OBJECT, DACL_SECURITY_INFORMATION, nullptr,
                            nullptr, &access, nullptr, &descriptor) != ERROR_SUCCESS) {
    return;
  }
  SECURITY_DESCRIPTOR_CONTROL control = 0;
  DWORD revision = 0;
  GetSecurityDescriptorControl(descriptor, &control, &revision);
  const SECURITY_INFORMATION inheritance = (control & SE_DACL_PROTECTED) != 0
                                               ? PROTECTED_DACL_SECURITY_INFORMATION
                                               : UNPROTECTED_DACL_SECURITY_INFORMATION;
  std::wstring name = to;
  SetNamedSecurityInfoW(name.data(), SE_FILE_OBJECT, DACL_SECURITY_INFORMATION | inheritance,
                        nullptr, nullptr, access, nullptr);
  LocalFree(descriptor);
}

bool moved(const std::wstring& from, const std::wstring& to) {
  return MoveFileExW(from.c_str(), to.c_str(),
                     MOVEFILE_REPLACE_EXISTING | MOVEFILE_WRITE_THROUGH) != 0;
}

class WindowsFileCalls final : public FileCalls {
 public:
  int real_path(const std::string& path, std::string& real) override {
    const Handle file(opened(path, 0, OPEN_EXISTING, FILE_FLAG_BACKUP_SEMANTICS));
    if (!file.valid()) return refused();
    std::wstring name(GetFinalPathNameByHandleW(file.get(), nullptr, 0, 0), L'\0');
    name.resize(
        GetFinalPathNameByHandleW(file.get(), name.data(), static_cast<DWORD>(name.size()), 0));
    // Some disks in memory and on networks do not know their own names.
    real = our_name(name.empty() ? without_limit(system_name(path)) : name);
    return 0;
  }
  int program(std::string& path) override {
    std::wstring name(std::numeric_limits<short>::max(), L'\0');
    name.resize(GetModuleFileNameW(nullptr, name.data(), static_cast<DWORD>(name.size())));
    if (name.empty()) return refused();
    return real_path(our_name(name), path);
  }
  int status(const std::string& path, FileStatus& status) override {
    const Handle file(
        opened(path, FILE_READ_ATTRIBUTES, OPEN_EXISTING, FILE_FLAG_BACKUP_SEMANTICS));
    if (!file.valid()) return refused();
    status = {};
    status.mode = usual_file_mode;
    if (GetFileType(file.get()) != FILE_TYPE_DISK) return 0;
    BY_HANDLE_FILE_INFORMATION found{};
    if (GetFileInformationByHandle(file.get(), &found) == 0) return refused();
    status.directory = (found.dwFileAttributes & FILE_ATTRIBUTE_DIRECTORY) != 0;
    status.regular = !status.directory;
    if ((found.dwFileAttributes & FILE_ATTRIBUTE_READONLY) != 0) status.mode = read_only_mode;
    status.links = found.nNumberOfLinks;
    status.size = (static_cast<std::size_t>(found.nFileSizeHigh) << 32U) | found.nFileSizeLow;
    return 0;
  }
  int may_write(const std::string& path) override {
    const DWORD attributes = GetFileAttributesW(system_name(path).c_str());
    const bool protected_file = attributes != INVALID_FILE_ATTRIBUTES &&
                                (attributes & FILE_ATTRIBUTE_READONLY) != 0 &&
                                (attributes & FILE_ATTRIBUTE_DIRECTORY) == 0;
    if (protected_file) {
      errno = EACCES;
      return -1;
    }
    const Handle file(opened(path, GENERIC_WRITE, OPEN_EXISTING));
    return file.valid() ? 0 : refused();
  }
  int open_to_read(const std::string& path) override {
    return file_number(opened(path, GENERIC_READ, OPEN_EXISTING), _O_RDONLY);
  }
  int open_to_write(const std::string& path) override {
    return file_number(opened(path, GENERIC_WRITE, OPEN_EXISTING), _O_WRONLY);
  }
  int create_new(const std::string& path, unsigned) override {
    return file_number(opened(path, GENERIC_WRITE, CREATE_NEW), _O_WRONLY);
  }
  int open_folder(const std::string&) override {
    errno = ENOTSUP;
    return -1;
  }
  ssize_t read(int file, char* to, std::size_t count) override {
    constexpr std::size_t most = 1U << 30U;
    return _read(file, to, static_cast<unsigned>(std::min(count, most)));
  }
  ssize_t write(int file, const char* from, std::size_t count) override {
    constexpr std::size_t most = 1U << 30U;
    return _write(file, from, static_cast<unsigned>(std::min(count, most)));
  }
  int change_owner(int, unsigned, unsigned) override { return 0; }
  int change_mode(int file, unsigned mode) override {
    FILE_BASIC_INFO info{};  // a time of 0 stays as it is
    info.FileAttributes =
        (mode & any_write_bit) != 0 ? FILE_ATTRIBUTE_NORMAL : FILE_ATTRIBUTE_READONLY;
    const BOOL done =
        SetFileInformationByHandle(handle_of(file), FileBasicInfo, &info, sizeof info);
    return done != 0 ? 0 : refused();
  }
  int sync(int file) override { return FlushFileBuffers(handle_of(file)) != 0 ? 0 : refused(); }
  bool syncs_folders() const override { return false; }
  int close(int file) override { return _close(file); }
  int rename(const std::string& from, const std::string& to) override {
    const std::wstring old_name = system_name(from);
    const std::wstring new_name = system_name(to);
    copy_permissions(new_name, old_name);
    // A virus scanner may hold a file for a moment after it was closed.
    constexpr int most_tries = 10;
    constexpr DWORD pause_ms = 50;
    for (int i = 1; !moved(old_name, new_name); ++i) {
      if (i == most_tries) return held_open(to) ? -1 : refused();
      Sleep(pause_ms);
    }
    return 0;
  }
  int remove(const std::string& path) override {
    return DeleteFileW(system_name(path).c_str()) != 0 ? 0 : refused();
  }
  unsigned usual_mode() override { return usual_file_mode; }

 private:
  /// Windows says "access denied" where another program holds the file: true, and EBUSY, when one does.
  static bool held_open(const std::string& path) {
    const DWORD before = GetLastError();
    const Handle file(opened(path, DELETE, OPEN_EXISTING));
    const bool held = !file.valid() && GetLastError() == ERROR_SHARING_VIOLATION;
    if (held) errno = EBUSY;
    SetLastError(before);
    return held;
  }
};

}  // namespace

FileCalls& system_file_calls() {
  static WindowsFileCalls calls;
  return calls;
}

}  // namespace pivotrace
