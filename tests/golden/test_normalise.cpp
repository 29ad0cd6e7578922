#include <doctest/doctest.h>

#include "golden/normalise.h"

using namespace pivotrace::golden;

namespace {

const Pass pass{{{"/somewhere/scratch/place", "<folder>"}, {"/somewhere", "<program>"}},
                "20260101000000"};

std::string stamp(const std::string& digits) {
  return digits.substr(0, 4) + "-" + digits.substr(4, 2) + "-" + digits.substr(6, 2) + "T" +
         digits.substr(8, 2) + ":" + digits.substr(10, 2) + ":" + digits.substr(12, 2) + "Z";
}

}  // namespace

TEST_CASE("time stamps of this pass go, those of the input files stay") {
  const std::string now = utc_digits();
  REQUIRE(now.size() == 14);
  const Pass begun{{}, now};
  const std::string input = "started 2026-03-02T08:15:00Z";
  CHECK(normalised("fitted " + stamp(now) + ", " + input + "\n", begun) ==
        "fitted <now>, " + input + "\n");
  CHECK(normalised("x.txt." + now.substr(0, 8) + "T" + now.substr(8) + "Z.bak", begun) ==
        "x.txt.<now>.bak");
  CHECK(normalised("x.txt." + now.substr(0, 8) + "T" + now.substr(8) + "Z-2.bak", begun) ==
        "x.txt.<now>.bak");
  // A time to come is wrong, so it is shown.
  CHECK(normalised("9999-12-31T23:59:59Z", begun) == "9999-12-31T23:59:59Z");
}

TEST_CASE("version, file hash, folder and processor time go, and nothing else") {
  CHECK(normalised("(by pivotrace 0.1.0)\n\"version\": \"12.3.45\"", pass) ==
        "(by pivotrace <version>)\n\"version\": \"<version>\"");
  const std::string hash(64, 'a');
  CHECK(normalised("\"sha256\": \"" + hash + "\"", pass) == "\"sha256\": \"<sha256>\"");
  CHECK(normalised(hash + "a", pass) == hash + "a");
  CHECK(normalised("@page{\"<now> 0123456789ab\"}", pass) == "@page{\"<now> <sha256>\"}");
  CHECK(normalised("@page{\"0123456789ab\"}", pass) == "@page{\"0123456789ab\"}");
  CHECK(normalised("wrote /somewhere/scratch/place/x.txt", pass) == "wrote <folder>/x.txt");
  CHECK(normalised("in /somewhere/else", pass) == "in <program>/else");
  CHECK(normalised("(2000 trials, seed 7, 0.1 s)", pass) == "(2000 trials, seed 7, <seconds> s)");
  CHECK(normalised("  \"solver_seconds\": 1.5e-05,\n", pass) ==
        "  \"solver_seconds\": <seconds>,\n");
  for (const char* text : {"X1.2 Y-3.4\n", "pivotrace fit", "seed 7", "", "\n\n", "0.1 s\tof\n"}) {
    CHECK(normalised(text, pass) == text);
  }
}

TEST_CASE("what is no printable text becomes printable, UTF-8 stays") {
  CHECK(normalised("a\r\nb\x01\x1B[K\n", pass) == "a\\x0D\nb\\x01\\x1B[K\n");
  CHECK(normalised("gr\xC3\xBC\xC3\x9F"
                   "e",
                   pass) ==
        "gr\xC3\xBC\xC3\x9F"
        "e");
  CHECK(normalised("gr\xFC\xDF"
                   "e",
                   pass) == "gr\\xFC\\xDFe");
  CHECK(normalised("cut \xC3", pass) == "cut \\xC3");
}
