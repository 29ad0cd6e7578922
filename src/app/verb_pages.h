// What the command line says of itself, as pages of the manual: made from the very definitions that parse
// what a user types, so that neither can say what the other does not.
#pragma once

#include <CLI/CLI.hpp>
#include <string>
#include <vector>

#include "pivotrace/manual/pages.h"

namespace pivotrace::app {

/// The page of one verb: description, usage, files, options, and the footer of its help.
std::string verb_page(const CLI::App& verb);

/// The page of the program: what it is, and every verb.
std::string program_page(const CLI::App& program);

/// The manual and, behind it, a chapter with a page for each verb, its topic the verb.
std::vector<manual::Chapter> book_of(const CLI::App& program);

}  // namespace pivotrace::app
