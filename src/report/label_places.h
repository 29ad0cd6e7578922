// Finds a free place for every label of a drawing: on no other label, on no line that matters.
#pragma once

#include <string_view>
#include <utility>
#include <vector>

#include "report/svg.h"

namespace pivotrace::report {

class LabelPlaces {
 public:
  /// Labels stay within `room`.
  LabelPlaces(Svg& svg, Box room) : svg_(svg), room_(room) {}

  void avoid(Point from, Point to) { lines_.emplace_back(from, to); }
  /// Crossed only where there is no place beside it: the edge of a body.
  void rather_avoid(Point from, Point to) { edges_.emplace_back(from, to); }
  void avoid(const Box& box) { boxes_.push_back(box); }
  void keep_within(Box room) { room_ = room; }

  /// Writes the text at the free place nearest to `target`, on the side of it that `prefer` points to
  /// (a paper direction, y downwards) where it can, joined by a thin line where that is not beside it.
  /// False when there is no free place.
  bool put(std::string_view text, Point target, Point prefer, std::string_view look = {},
           double size = label_size, double nearest = 5.0);

 private:
  struct Place {
    Box box;
    double distance = 0.0;
    double cost = 0.0;
  };
  /// Whether the thin line to a label may run over another one: only where there is no place else.
  enum class Leader { clear, may_cross };
  bool put(Leader leader, std::string_view text, Point target, Point prefer, std::string_view look,
           double size, double nearest);
  bool is_free(const Box& box) const;
  bool is_free(Point from, Point to) const;
  bool on_an_edge(const Box& box) const;
  void write(const Place& place, std::string_view text, Point target, std::string_view look,
             double size);

  Svg& svg_;
  Box room_;
  std::vector<std::pair<Point, Point>> lines_;
  std::vector<std::pair<Point, Point>> edges_;
  std::vector<Box> boxes_;
};

/// True when a straight line passes through a box.
bool crosses(const Box& box, Point from, Point to);
bool overlap(const Box& a, const Box& b);

}  // namespace pivotrace::report
