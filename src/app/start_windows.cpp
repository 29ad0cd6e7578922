#include <fcntl.h>
#include <io.h>
#include <windows.h>
// After windows.h, whose words it uses.
#include <shellapi.h>

#include <algorithm>
#include <array>
#include <iostream>
#include <list>
#include <streambuf>

#include "app/start.h"
#include "disk/windows_text.h"
#include "pivotrace/disk/file_name.h"

namespace pivotrace::app {

namespace {

/// What is typed at a console. Its own conversion to UTF-8 loses every letter beyond ASCII.
class TypedText final : public std::streambuf {
 protected:
  int_type underflow() override {
    std::array<wchar_t, 1024> typed{};
    DWORD count = 0;
    const bool read = ReadConsoleW(GetStdHandle(STD_INPUT_HANDLE), typed.data(),
                                   static_cast<DWORD>(typed.size()), &count, nullptr) != 0;
    constexpr wchar_t end_of_input = 26;  // Ctrl+Z
    if (!read || count == 0 || typed[0] == end_of_input) return traits_type::eof();
    line_ = utf8_of({typed.data(), count});
    setg(line_.data(), line_.data(), line_.data() + line_.size());
    return traits_type::to_int_type(line_.front());
  }

 private:
  std::string line_;
};

/// What is shown at a console, in UTF-16: the runtime hands over byte by byte, which tears letters apart.
class ShownText final : public std::streambuf {
 public:
  explicit ShownText(DWORD stream) : screen_(GetStdHandle(stream)) {}

 protected:
  int_type overflow(int_type letter) override {
    if (traits_type::eq_int_type(letter, traits_type::eof())) return traits_type::not_eof(letter);
    waiting_ += traits_type::to_char_type(letter);
    return letter == '\n' && sync() != 0 ? traits_type::eof() : letter;
  }
  std::streamsize xsputn(const char* text, std::streamsize count) override {
    waiting_.append(text, static_cast<std::size_t>(count));
    return waiting_.find('\n') != std::string::npos && sync() != 0 ? 0 : count;
  }
  int sync() override {
    const std::wstring text = utf16_of(waiting_);
    waiting_.clear();
    // Old consoles take no more than 64 KB at once.
    constexpr std::size_t most = 8192;
    for (std::size_t from = 0; from < text.size();) {
      const auto count = static_cast<DWORD>(std::min(most, text.size() - from));
      DWORD shown = 0;
      if (WriteConsoleW(screen_, text.data() + from, count, &shown, nullptr) == 0) return -1;
      from += count;
    }
    return 0;
  }

 private:
  HANDLE screen_;
  std::string waiting_;
};

/// Hands a stream over to the console, and back.
class Screen {
 public:
  Screen(std::ostream& stream, DWORD number)
      : stream_(stream), text_(number), before_(stream.rdbuf()) {
    stream_.rdbuf(&text_);
  }
  ~Screen() {
    stream_.flush();
    stream_.rdbuf(before_);
  }
  Screen(const Screen&) = delete;
  Screen& operator=(const Screen&) = delete;

 private:
  std::ostream& stream_;
  ShownText text_;
  std::streambuf* before_;
};

bool is_console(DWORD stream) {
  DWORD mode = 0;
  return GetConsoleMode(GetStdHandle(stream), &mode) != 0;
}

std::list<Screen>& screens() {
  static std::list<Screen> all;
  return all;
}

/// Lets a console of Windows 10 and later follow the few control sequences that move the cursor.
bool moves_cursor(DWORD stream) {
  DWORD mode = 0;
  const HANDLE screen = GetStdHandle(stream);
  constexpr DWORD follow_sequences = 0x0004;  // ENABLE_VIRTUAL_TERMINAL_PROCESSING
  return GetConsoleMode(screen, &mode) != 0 && SetConsoleMode(screen, mode | follow_sequences) != 0;
}

std::streambuf* input() {
  static TypedText typed;
  return is_console(STD_INPUT_HANDLE) ? &typed : std::cin.rdbuf();
}

/// The screen of a window that closes at once must be held open.
void wait_for_key() {
  std::cout << "\nPress Enter to close this window." << std::flush;
  std::string line;
  std::getline(std::cin, line);
}

}  // namespace

std::vector<std::string> spoken_words(int, char**) {
  int count = 0;
  wchar_t** words = CommandLineToArgvW(GetCommandLineW(), &count);
  std::vector<std::string> spoken;
  for (int i = 1; i < count; ++i) spoken.push_back(utf8_of(words[i]));
  LocalFree(words);
  return spoken;
}

std::optional<std::string> setting(const char* name) {
  const std::wstring wide = utf16_of(name);
  std::wstring value(GetEnvironmentVariableW(wide.c_str(), nullptr, 0), L'\0');
  if (value.size() <= 1) return std::nullopt;
  value.resize(
      GetEnvironmentVariableW(wide.c_str(), value.data(), static_cast<DWORD>(value.size())));
  return utf8_of(value);
}

std::optional<std::string> settings_folder() {
  auto folder = setting("XDG_CONFIG_HOME");
  if (!folder) folder = setting("APPDATA");
  if (folder) folder = portable_name(*folder);
  return folder;
}

Streams::Streams()
    : out_is_terminal_(moves_cursor(STD_OUTPUT_HANDLE)),
      err_is_terminal_(moves_cursor(STD_ERROR_HANDLE)),
      in_(input()) {
  for (FILE* stream : {stdin, stdout, stderr}) _setmode(_fileno(stream), _O_BINARY);
  if (is_console(STD_OUTPUT_HANDLE)) screens().emplace_back(std::cout, STD_OUTPUT_HANDLE);
  if (is_console(STD_ERROR_HANDLE)) screens().emplace_back(std::cerr, STD_ERROR_HANDLE);
}

Streams::~Streams() {
  std::cout.flush();
  screens().clear();
}

bool opened_by_mouse(const std::vector<std::string>& words) {
  std::array<DWORD, 2> programs{};
  return words.empty() && is_console(STD_INPUT_HANDLE) &&
         GetConsoleProcessList(programs.data(), static_cast<DWORD>(programs.size())) == 1;
}

void greet(FileCalls& disk) {
  std::string program;
  if (disk.program(program) == 0) {
    const auto page = (path_of(program).parent_path() / "pivotrace.html").make_preferred();
    FileStatus status;
    constexpr INT_PTR last_error = 32;  // as ShellExecute is documented
    if (disk.status(name_of(page), status) == 0 &&
        reinterpret_cast<INT_PTR>(ShellExecuteW(nullptr, L"open", page.c_str(), nullptr, nullptr,
                                                SW_SHOWNORMAL)) > last_error) {
      return;
    }
  }
  std::cout
      << "pivotrace finds where a rotary axis really is.\n\n"
         "This program is used by typing commands. Open a command prompt in the folder it\n"
         "lies in and type\n\n"
         "  pivotrace help first-session\n\n"
         "Or put the page pivotrace.html into the same folder: opening this program then shows\n"
         "the page, which needs no commands.\n";
  wait_for_key();
}

/// As CommandLineToArgvW takes it apart again: a mark inside has a backslash before it.
std::string quoted_word(const std::string& word) {
  std::string text = "\"";
  for (const char c : word) text += c == '"' ? std::string("\\\"") : std::string{c};
  return text + '"';
}

std::string portable_name(std::string path) {
  std::replace(path.begin(), path.end(), '\\', '/');
  return path;
}

}  // namespace pivotrace::app
