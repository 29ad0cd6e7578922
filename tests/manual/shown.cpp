#include "manual/shown.h"

#include <fmt/format.h>

#include <algorithm>
#include <regex>

#include "golden/compare.h"

namespace pivotrace::manual {

namespace {

const std::string gap = "...";

/// What a line looks like with other numbers in it.
std::string shape(const std::string& line) {
  static const std::regex number(R"([-+]?\d+(\.\d+)?)", std::regex::optimize);
  static const std::regex blanks(R"(\s+)", std::regex::optimize);
  return std::regex_replace(std::regex_replace(line, number, "#"), blanks, " ");
}

/// The pairing that costs least, by dynamic programming.
class Pairing {
 public:
  Pairing(const std::vector<std::string>& shown, const std::vector<std::string>& screen)
      : shown_(shown), screen_(screen), cost_((shown.size() + 1) * (screen.size() + 1)) {
    for (std::size_t i = shown.size() + 1; i-- > 0;) {
      for (std::size_t j = screen.size() + 1; j-- > 0;) at(i, j) = cheapest(i, j).cost;
    }
  }

  Comparison walk() const {
    Comparison result;
    for (std::size_t i = 0, j = 0; i < shown_.size() || j < screen_.size();) {
      const Step step = cheapest(i, j);
      note(step, i, j, result);
      i += step.shown;
      j += step.screen;
    }
    return result;
  }

 private:
  struct Step {
    int cost = 0;
    std::size_t shown = 0;   ///< lines of the page it uses up
    std::size_t screen = 0;  ///< lines of the screen it uses up
  };

  static constexpr int reshaped_cost = 1;
  static constexpr int moved_cost = 4;  ///< of a line that came or went
  static constexpr int never = 1'000'000'000;

  int& at(std::size_t i, std::size_t j) { return cost_[i * (screen_.size() + 1) + j]; }
  int at(std::size_t i, std::size_t j) const { return cost_[i * (screen_.size() + 1) + j]; }

  bool is_gap(std::size_t i) const { return shown_[i] == gap; }

  int pair_cost(std::size_t i, std::size_t j) const {
    const std::string was = settled(shown_[i]);
    const std::string is = settled(screen_[j]);
    if (!golden::line_difference(was, is)) return 0;
    return shape(was) == shape(is) ? reshaped_cost : 2 * moved_cost - 1;
  }

  Step cheapest(std::size_t i, std::size_t j) const {
    const bool old_left = i < shown_.size();
    const bool new_left = j < screen_.size();
    if (!old_left && !new_left) return {};
    if (old_left && is_gap(i)) {
      const Step close{at(i + 1, j), 1, 0};
      const Step swallow{new_left ? at(i, j + 1) : never, 0, 1};
      return close.cost <= swallow.cost ? close : swallow;
    }
    Step best{never, 0, 0};
    const auto offer = [&best](const Step& step) {
      if (step.cost < best.cost) best = step;
    };
    if (old_left && new_left) offer({pair_cost(i, j) + at(i + 1, j + 1), 1, 1});
    if (old_left) offer({moved_cost + at(i + 1, j), 1, 0});
    if (new_left) offer({moved_cost + at(i, j + 1), 0, 1});
    return best;
  }

  void note(const Step& step, std::size_t i, std::size_t j, Comparison& result) const {
    if (step.shown == 0 && i < shown_.size() && is_gap(i)) return;
    if (step.shown == 1 && is_gap(i)) {
      result.brought_up_to_date.push_back(gap);
    } else if (step.shown == 0) {
      result.brought_up_to_date.push_back(screen_[j]);
      result.differences.push_back(fmt::format("    missing | {}", screen_[j]));
    } else if (step.screen == 0) {
      result.differences.push_back(fmt::format("    page    | {}", shown_[i]));
    } else if (pair_cost(i, j) == 0) {
      result.brought_up_to_date.push_back(shown_[i]);
    } else {
      result.brought_up_to_date.push_back(screen_[j]);
      result.differences.push_back(
          fmt::format("    page    | {}\n    screen  | {}", shown_[i], screen_[j]));
    }
  }

  const std::vector<std::string>& shown_;
  const std::vector<std::string>& screen_;
  std::vector<int> cost_;
};

}  // namespace

std::string settled(const std::string& line) {
  static const std::regex stamp(R"(\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ|\d{8}T\d{6}Z)",
                                std::regex::optimize);
  static const std::regex version(R"(pivotrace \d+\.\d+\.\d+)", std::regex::optimize);
  static const std::regex hash(R"(\b[0-9a-f]{64}\b)", std::regex::optimize);
  static const std::regex seconds(R"((seed \d+, )\d+\.\d+ s\b)", std::regex::optimize);
  std::string text = std::regex_replace(line, stamp, "<time>");
  text = std::regex_replace(text, version, "pivotrace <version>");
  text = std::regex_replace(text, hash, "<sha256>");
  text = std::regex_replace(text, seconds, "$1<seconds> s");
  text.erase(text.find_last_not_of(" \t") + 1);
  return text;
}

Comparison compare_shown(const std::vector<std::string>& shown,
                         const std::vector<std::string>& screen) {
  return Pairing(shown, screen).walk();
}

}  // namespace pivotrace::manual
