// A verb, or the real program, in a process of its own: as another user, with limits, or killed.
#pragma once

#include <doctest/doctest.h>
#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <functional>
#include <string>
#include <thread>
#include <vector>

#include "app/run_verb.h"

namespace pivotrace::testing {

/// Root may read and write anywhere: the child becomes nobody first. Any other user stays itself.
inline bool become_nobody() {
  constexpr uid_t nobody = 65534;
  return ::geteuid() != 0 || (::setgid(nobody) == 0 && ::setuid(nobody) == 0);
}

/// Makes every write beyond so many bytes of a file fall short and then fail, as on a full disk.
inline bool limit_file_size(rlim_t bytes) {
  const struct rlimit limit { bytes, bytes };
  return std::signal(SIGXFSZ, SIG_IGN) != SIG_ERR && ::setrlimit(RLIMIT_FSIZE, &limit) == 0;
}

inline void send(int pipe, const std::string& text) {
  const std::string::size_type size = text.size();
  (void)!::write(pipe, &size, sizeof size);
  std::size_t done = 0;
  while (done < size) {
    const ssize_t count = ::write(pipe, text.data() + done, size - done);
    if (count <= 0) ::_exit(255);
    done += static_cast<std::size_t>(count);
  }
}

inline std::string receive(int pipe) {
  std::string::size_type size = 0;
  REQUIRE(::read(pipe, &size, sizeof size) == sizeof size);
  std::string text(size, '\0');
  std::size_t done = 0;
  while (done < size) {
    const ssize_t count = ::read(pipe, text.data() + done, size - done);
    REQUIRE(count > 0);
    done += static_cast<std::size_t>(count);
  }
  return text;
}

/// run_verb in a child process that was prepared first.
inline Screen run_verb_in_child(const std::vector<std::string>& words,
                                const std::function<bool()>& prepare) {
  int ends[2];
  REQUIRE(::pipe(ends) == 0);
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    ::close(ends[0]);
    if (!prepare()) ::_exit(255);
    const Screen screen = run_verb(words);
    send(ends[1], screen.out);
    send(ends[1], screen.err);
    ::_exit(screen.code);
  }
  ::close(ends[1]);
  Screen screen;
  screen.out = receive(ends[0]);
  screen.err = receive(ends[0]);
  ::close(ends[0]);
  int status = 0;
  REQUIRE(::waitpid(child, &status, 0) == child);
  REQUIRE(WIFEXITED(status));
  screen.code = WEXITSTATUS(status);
  return screen;
}

/// How the real program ended.
struct ProgramScreen : Screen {
  int signal = 0;  ///< that ended it; 0 = it ended by itself
};

/// Runs the real program; `stdout_to` is a device or file for its results, empty = caught. Fails
/// the test when it takes longer than any input may take.
inline ProgramScreen run_program(const std::vector<std::string>& words,
                                 const std::string& stdout_to = {}) {
  constexpr std::chrono::seconds patience{60};
  char out_name[] = "/tmp/pivotrace-out-XXXXXX";
  char err_name[] = "/tmp/pivotrace-err-XXXXXX";
  const int out = ::mkstemp(out_name);
  const int err = ::mkstemp(err_name);
  REQUIRE(out >= 0);
  REQUIRE(err >= 0);
  const pid_t child = ::fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    const int shown = stdout_to.empty() ? out : ::open(stdout_to.c_str(), O_WRONLY);
    ::dup2(::open("/dev/null", O_RDONLY), STDIN_FILENO);
    ::dup2(shown, STDOUT_FILENO);
    ::dup2(err, STDERR_FILENO);
    std::vector<char*> arguments = {const_cast<char*>("pivotrace")};
    for (const std::string& word : words) arguments.push_back(const_cast<char*>(word.c_str()));
    arguments.push_back(nullptr);
    ::execv(PIVOTRACE_PROGRAM, arguments.data());
    ::_exit(255);
  }
  int status = 0;
  const auto deadline = std::chrono::steady_clock::now() + patience;
  while (::waitpid(child, &status, WNOHANG) == 0) {
    if (std::chrono::steady_clock::now() > deadline) {
      ::kill(child, SIGKILL);
      ::waitpid(child, &status, 0);
      FAIL("the program hangs");
    }
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  const auto taken = [](int file, const char* name) {
    std::string text(static_cast<std::size_t>(::lseek(file, 0, SEEK_END)), '\0');
    REQUIRE(::pread(file, text.data(), text.size(), 0) == static_cast<ssize_t>(text.size()));
    ::close(file);
    ::unlink(name);
    return text;
  };
  ProgramScreen screen;
  screen.out = taken(out, out_name);
  screen.err = taken(err, err_name);
  screen.signal = WIFSIGNALED(status) ? WTERMSIG(status) : 0;
  screen.code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  return screen;
}

}  // namespace pivotrace::testing
