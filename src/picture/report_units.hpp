// Not part of the library's interface.
#pragma once

#include "picture/report_page.hpp"

namespace ripplegauge::picture_detail {

/// The page as its reader thinks of lengths and temperatures: every text of its blocks in the units of its
/// words. Pictures are left alone, they were drawn in them.
ReportPage in_units_of_its_words(ReportPage page);

}  // namespace ripplegauge::picture_detail
