#include <sys/stat.h>
#include <sys/wait.h>
#include <unistd.h>

#include <filesystem>

#include "formats/file_tests.h"
#include "formats/scratch_folder.h"
#include "pivotrace/disk/text_file.h"

using namespace pivotrace;
using test::ScratchFolder;

namespace {

mode_t mode_of(const std::string& path) {
  struct stat info {};
  REQUIRE(::stat(path.c_str(), &info) == 0);
  return info.st_mode & 07777U;
}

}  // namespace

TEST_CASE("bytes come back as they were written, zeros and all") {
  const ScratchFolder folder;
  std::string bytes("\x00\xFF\r\n\x1A end", 9);
  bytes += std::string(200000, 'x');
  REQUIRE(write_file(folder.file("a"), bytes));
  CHECK(read_file(folder.file("a")) == bytes);
  REQUIRE(write_file(folder.file("a"), ""));
  CHECK(read_file(folder.file("a")) == std::string());
  CHECK_MESSAGE(folder.file_count() == 1, "no temporary file is left behind");
}

TEST_CASE("a missing file, a folder and a file above the limit are told apart") {
  const ScratchFolder folder;
  test::check_only(read_file(folder.file("missing")).error(), ProblemNumber::cannot_read);
  test::check_only(read_file(folder.file("missing/deeper")).error(), ProblemNumber::cannot_read);
  test::check_only(read_file(folder.file("")).error(), ProblemNumber::is_directory);
  REQUIRE(write_file(folder.file("a"), "12345678"));
  CHECK(read_file(folder.file("a"), system_file_calls(), 8) == "12345678");
  const auto refused = read_file(folder.file("a"), system_file_calls(), 7);
  test::check_only(refused.error(), ProblemNumber::too_large);
  CHECK(refused.error()[0].where.file == folder.file("a"));
}

TEST_CASE("a pipe has no size, the limit holds all the same") {
  const auto endless = read_file("/dev/zero", system_file_calls(), 1000000);
  test::check_only(endless.error(), ProblemNumber::too_large);
}

TEST_CASE("an unreadable file says so") {
  const ScratchFolder folder;
  REQUIRE(write_file(folder.file("secret"), "x"));
  REQUIRE(::chmod(folder.file("secret").c_str(), 0) == 0);
  if (::geteuid() == 0) {
    // The superuser may read everything; another user's view is tried in a child process.
    const pid_t child = ::fork();
    REQUIRE(child >= 0);
    if (child == 0) {
      const bool dropped = ::chmod(folder.file("").c_str(), 0755) == 0 && ::setgid(65534) == 0 &&
                           ::setuid(65534) == 0;
      const auto result = read_file(folder.file("secret"));
      const bool refused =
          dropped && !result && result.error()[0].number == ProblemNumber::cannot_read;
      ::_exit(refused ? 0 : 1);
    }
    int status = -1;
    REQUIRE(::waitpid(child, &status, 0) == child);
    CHECK(status == 0);
  } else {
    test::check_only(read_file(folder.file("secret")).error(), ProblemNumber::cannot_read);
  }
}

TEST_CASE("writing keeps permissions and links, and refuses what it must not replace") {
  const ScratchFolder folder;
  REQUIRE(write_file(folder.file("a"), "old"));
  REQUIRE(::chmod(folder.file("a").c_str(), 0640) == 0);
  REQUIRE(::symlink(folder.file("a").c_str(), folder.file("link").c_str()) == 0);
  REQUIRE(write_file(folder.file("link"), "new"));
  CHECK(read_file(folder.file("a")) == "new");
  CHECK(std::filesystem::is_symlink(folder.file("link")));
  CHECK(mode_of(folder.file("a")) == 0640);

  test::check_only(write_file(folder.file(""), "x").error(), ProblemNumber::is_directory);
  test::check_only(write_file(folder.file("no/such/folder"), "x").error(),
                   ProblemNumber::cannot_write);
  CHECK(write_file("/dev/null", "x"));
  test::check_only(write_file("/dev/full", "x").error(), ProblemNumber::cannot_write);
}

TEST_CASE("sha-256 of the published examples") {
  // FIPS 180-2, appendix B.1 and B.2 ("abc" and the 56-letter message); the empty message from the
  // NIST CAVP short-message vectors. Typed from memory.
  CHECK(sha256_hex("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  CHECK(sha256_hex("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq") ==
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  CHECK(sha256_hex("") == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}
