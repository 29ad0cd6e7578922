// What a page prints for the words of a screen.
#include <doctest/doctest.h>

#include "report/typeset.h"

using namespace pivotrace::report;

TEST_CASE("micrometres, plus-minus and the true minus, and no marks round what is typed") {
  CHECK(typeset("shifted by 98.4 um: X +67.2, Z -71.9") ==
        "shifted by 98.4 \xC2\xB5m: X +67.2, Z \xE2\x88\x92"
        "71.9");
  CHECK(typeset("-16.2 um/300mm +-9.8") ==
        "\xE2\x88\x92"
        "16.2 \xC2\xB5m/300mm \xC2\xB1"
        "9.8");
  CHECK(typeset("state `probe` and `--within`") == "state probe and --within");
}

TEST_CASE("dates, names and words stay as they are") {
  for (const char* text : {"2025-07-06", "2025-07.result.json", "A-C.distance", "maximum", "umbra",
                           "probe-calibrated", "4-40"}) {
    CAPTURE(text);
    CHECK(typeset(text) == text);
  }
}

TEST_CASE("a sentence begins with a capital") {
  CHECK(sentence("the whole unit") == "The whole unit");
  CHECK(sentence("") == "");
}

TEST_CASE("no file name leaves the string of a style sheet") {
  CHECK(css_string("my.result.json 2026-03-02T09:00:00Z") == "my.result.json 2026-03-02T09:00:00Z");
  const std::string safe = css_string("a\"}</style>\\b\n");
  for (const char bad : {'"', '}', '<', '>', '\n'}) {
    CHECK(safe.find(bad) == std::string::npos);
  }
  CHECK(css_string("\\") == "\\00005c");
}
