// What makes a figure hard to read, as geometry.
#pragma once

#include <cstdlib>
#include <fstream>
#include <string>

#include "report/svg.h"

namespace pivotrace::report {

inline bool apart(const Box& a, const Box& b) {
  return a.right <= b.left || b.right <= a.left || a.bottom <= b.top || b.bottom <= a.top;
}

/// Complaints about the labels of a figure; empty = legible.
inline std::string complaints(const Svg& svg) {
  std::string text;
  const std::vector<Label>& labels = svg.labels();
  for (std::size_t i = 0; i < labels.size(); ++i) {
    const Label& label = labels[i];
    if (label.size < small_label_size) text += "too small: " + label.text + "\n";
    const bool inside = label.box.left >= 0.0 && label.box.top >= 0.0 &&
                        label.box.right <= svg.width() && label.box.bottom <= svg.height();
    if (!inside) text += "over the edge: " + label.text + "\n";
    for (std::size_t k = i + 1; k < labels.size(); ++k) {
      if (!apart(label.box, labels[k].box)) text += label.text + " on " + labels[k].text + "\n";
    }
  }
  return text;
}

/// PIVOTRACE_KEEP=FOLDER keeps the figure there, to be looked at.
inline void keep(const Svg& svg, const std::string& name) {
  const char* folder = std::getenv("PIVOTRACE_KEEP");
  if (folder == nullptr) return;
  std::ofstream(std::string(folder) + "/" + name + ".svg") << svg.file(name, "a figure under test");
}

}  // namespace pivotrace::report
