// What a file's name must be like.
#pragma once

#include <initializer_list>
#include <string>

namespace ripplegauge::cli {

/// Throws UsageError where the file's name ends otherwise: a page in a file of another kind opens nowhere. An
/// empty name is none, "-" is standard output.
void require_ending(const char* option, const std::string& file, std::initializer_list<const char*> endings);

}  // namespace ripplegauge::cli
