// A drawing being made: shapes with a look, labels whose places are kept so that a test can see
// whether one lies on another.
//
// Units are CSS pixels, 96 to the inch, y downwards: a figure 680 wide fills the text width of an A4
// page, and a label of 16 is 12 pt there.
#pragma once

#include <string>
#include <string_view>
#include <vector>

namespace pivotrace::report {

struct Point {
  double x = 0.0;
  double y = 0.0;
};

struct Box {
  double left = 0.0;
  double top = 0.0;
  double right = 0.0;
  double bottom = 0.0;
};

enum class Anchor { start, middle, end };

inline constexpr double label_size = 16.0;
/// 9 pt, the smallest in print.
inline constexpr double small_label_size = 12.0;
inline constexpr double figure_width = 680.0;

struct Label {
  Box box;  ///< by rather wide letters, whatever the font of the reader
  std::string text;
  double size = label_size;
};

/// Width of a text in a wide sans-serif, from a table of letter widths; an upper estimate.
double text_width(std::string_view text, double size = label_size);

/// A text in lines no wider than `width`, broken between words; a word wider than that stays whole.
std::vector<std::string> lines_within(const std::string& text, double width,
                                      double size = label_size);

class Svg {
 public:
  Svg(double width, double height) : width_(width), height_(height) {}

  double width() const { return width_; }
  double height() const { return height_; }
  const std::vector<Label>& labels() const { return labels_; }

  void line(Point from, Point to, std::string_view look);
  void polyline(const std::vector<Point>& points, std::string_view look);
  void polygon(const std::vector<Point>& points, std::string_view look);
  void rect(const Box& box, std::string_view look);
  void circle(Point centre, double radius, std::string_view look);
  /// `turned_deg` turns the half-axes against the clock.
  void ellipse(Point centre, double half_x, double half_y, double turned_deg,
               std::string_view look);
  /// Two strokes across, for what was left out.
  void cross(Point centre, double radius, std::string_view look);
  /// `at` is the end of the base line that the anchor names.
  void label(Point at, std::string_view text, Anchor anchor = Anchor::start,
             std::string_view look = {}, double size = label_size);

  /// What a script draws anew.
  void open_group(std::string_view id);
  void close_group();
  /// An empty path for a script to fill.
  void mark(std::string_view id, std::string_view look);

  /// The <svg> element, without its style. Title and description are what a screen reader says.
  std::string element(std::string_view title, std::string_view description) const;
  /// A file of its own: with style and paper.
  std::string file(std::string_view title, std::string_view description) const;

 private:
  double width_;
  double height_;
  std::string body_;
  std::vector<Label> labels_;
};

}  // namespace pivotrace::report
