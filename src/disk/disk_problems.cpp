#include "disk/disk_problems.h"

#include <fmt/format.h>

#include <cerrno>
#include <system_error>

namespace pivotrace {

namespace {

std::string words_of(int error) {
  if (error == EBUSY) return "another program holds it open";
  return std::generic_category().message(error);
}

Problem folder_problem(const std::string& path) {
  return {ProblemNumber::is_directory,
          "this is a folder, not a file",
          {path, 0, 0},
          "name a file inside it"};
}

std::string writing_advice(int error) {
  switch (error) {
    case ENOSPC:
#ifdef EDQUOT
    case EDQUOT:
#endif
      return "the disk is full: make room and run it again; the file is as it was";
    case EACCES:
    case EPERM: return "you may not write there: ask whoever looks after this computer";
    case EBUSY: return "close it in the other program and run it again; the file is as it was";
    case EROFS: return "this disk is mounted read-only";
    case ENOENT:
    case ENOTDIR: return "check the name, and that the folder exists";
    default: return "the file is as it was; check the disk and run it again";
  }
}

}  // namespace

Problem read_problem(const std::string& path, int error) {
  if (error == EISDIR) return folder_problem(path);
  Problem problem{ProblemNumber::cannot_read, "", {path, 0, 0}, ""};
  if (error == ENOENT || error == ENOTDIR) {
    problem.what = "there is no such file";
    problem.advice = "check the spelling of the name and the folder you are in";
  } else if (error == EACCES || error == EPERM) {
    problem.what = "this file may not be read: " + words_of(error);
    problem.advice = "ask for permission to read it, or copy it to a place of your own";
  } else {
    problem.what = "this file cannot be read: " + words_of(error);
    problem.advice = "check the disk or network drive it lies on";
  }
  return problem;
}

Problem write_problem(const std::string& tried, const std::string& path, int error) {
  if (error == EISDIR) return folder_problem(path);
  return {ProblemNumber::cannot_write,
          fmt::format("{} failed: {}", tried, words_of(error)),
          {path, 0, 0},
          writing_advice(error)};
}

}  // namespace pivotrace
