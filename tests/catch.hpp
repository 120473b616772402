// Catch2 2 and 3 have different headers; both build.
#pragma once
#if __has_include(<catch2/catch_all.hpp>)
#include <catch2/catch_all.hpp>
using Catch::Approx;
#else
#include <catch2/catch.hpp>
namespace Catch::Matchers {
/// Named as in Catch2 3.
inline StdString::ContainsMatcher ContainsSubstring(const std::string& text) { return Contains(text); }
}  // namespace Catch::Matchers
#endif
