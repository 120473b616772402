#include "picture/chart.hpp"

#include <cmath>
#include <limits>
#include <opencv2/core.hpp>

#include "catch.hpp"

using namespace ripplegauge;

namespace {

constexpr double nan_value = std::numeric_limits<double>::quiet_NaN();

Chart chart_of(std::vector<ChartPoint> points) {
  ChartPanel panel;
  panel.title = "A panel";
  panel.lines.push_back({"line", std::move(points), LineStyle::dots});
  Chart chart;
  chart.panels = {panel, panel, panel};
  return chart;
}

}  // namespace

TEST_CASE("panels stand in rows", "[chart]") {
  const Chart chart = chart_of({{1, 2, 1.5, 2.5, false}, {2, 3, {}, {}, true}});
  const ChartSize three = size_of(chart);
  const cv::Mat pixels = chart_bgr(chart, 1);
  CHECK(pixels.cols == static_cast<int>(std::ceil(three.width)));
  CHECK(pixels.rows == static_cast<int>(std::ceil(three.height)));
  Chart one = chart;
  one.panels.resize(1);
  CHECK(size_of(one).width < three.width);
  CHECK(size_of(one).height < three.height);
  CHECK(chart_svg(chart).find("<svg") != std::string::npos);
  CHECK(chart_pdf(chart).substr(0, 5) == "%PDF-");
  CHECK(chart_pdf(chart) == chart_pdf(chart));
}

TEST_CASE("a chart shows its points and survives those it cannot", "[chart]") {
  const cv::Mat empty = chart_bgr(chart_of({}), 1);
  const cv::Mat shown = chart_bgr(chart_of({{1, 2, {}, {}, false}}), 1);
  REQUIRE(empty.size() == shown.size());
  CHECK(cv::norm(empty, shown, cv::NORM_INF) > 0);
  CHECK_FALSE(chart_bgr(chart_of({{1, nan_value, nan_value, nan_value, false},
                                  {2, 1, nan_value, 2, false},
                                  {nan_value, 1, {}, {}, true}}),
                        1)
                  .empty());
  CHECK_FALSE(chart_bgr(chart_of({{1, 1e300, {}, {}, false}, {2, -1e300, {}, {}, false}}), 1).empty());
  CHECK_FALSE(chart_bgr(chart_of({{1, 5e-324, {}, {}, false}}), 1).empty());
  CHECK_FALSE(chart_bgr(Chart{}, 1).empty());
}
