#pragma once

#include <CLI/CLI.hpp>
#include <string>

namespace ripplegauge::cli {

/// The manual page (roff, section 1) of the program and all its commands, made from what --help shows.
std::string man_page(const CLI::App& app, const std::string& version);

}  // namespace ripplegauge::cli
