// A figure with its table as the pages' text takes it.
#pragma once

#include <kainjow/mustache.hpp>

#include "report/result_figures.h"

namespace pivotrace::report {

/// For {{>page_figures}}: claim, subtitle, drawing, and the numbers behind it.
kainjow::mustache::data figure_data(const Figure& figure);

}  // namespace pivotrace::report
