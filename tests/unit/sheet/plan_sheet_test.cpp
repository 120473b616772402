#include "sheet/plan_sheet.hpp"

#include "catch.hpp"
#include "pdf_file.hpp"
#include "unit/advice/made_plans.hpp"

using namespace ripplegauge;
using namespace ripplegauge::made;

namespace {

/// Words of a text with single spaces between, as paragraphs are broken anywhere.
std::string words_of(const std::string& text) {
  std::istringstream in(text);
  std::string words;
  for (std::string word; in >> word;) words += word + " ";
  return words;
}

std::vector<Plan> hard_plans() {
  std::vector<Plan> plans;
  PanelFacts broken;
  broken.paint = Paint::damaged;
  PanelFacts warm = plain_steel();
  warm.coating = Coating::ceramic;
  warm.paint = Paint::repainted;
  warm.air_c = 44;
  Dent crease = sample::low(62, 0.8, 3), sharp = sample::low(40, 2.0);
  crease.diameter_mm = sample::about(60, 0.1);
  for (const PanelFacts& facts : {PanelFacts{}, broken, warm, plain_steel()})
    for (const std::size_t count : {1u, 9u, 130u})
      for (const Dent& dent : {sample::low(22, 0.3), crease, sharp, sample::high(99, 0.4)}) {
        std::vector<Dent> dents(count, dent);
        for (std::size_t i = 0; i < count; ++i) dents[i].x_mm += 110.0 * static_cast<double>(i);
        plans.push_back(make_plan(sample::reading(dents), facts, sample::with_sample_kit()));
      }
  return plans;
}

}  // namespace

TEST_CASE("the plan's page keeps every caution and every word on the paper", "[plan_sheet]") {
  if (poppler_is_missing()) return;
  const std::vector<Plan> plans = hard_plans();
  REQUIRE(plans.size() == 48);
  for (std::size_t i = 0; i < plans.size(); ++i) {
    const Plan& plan = plans[i];
    const PdfFile pdf(plan_sheet_pdf(plan, (i + i / 4) % 2 == 0 ? Paper::a4 : Paper::letter));
    INFO(plan.dents.size() << " spots, paint " << word(plan.facts.paint) << ", "
                           << plan.dents.front().dent.length_mm.value << " mm long");
    const auto pages = pdf.page_sizes_pt();
    REQUIRE(pages.size() >= 2);
    CHECK(pdf.smallest_font_pt() >= 10);  // arm's length
    const auto [width_pt, height_pt] = pages.front();
    CHECK(pdf.words_outside({20, 20, width_pt - 20, height_pt - 20}) == "");
    const std::string text = words_of(pdf.text());
    for (const Caution& caution : plan.cautions) CHECK(mentions(text, words_of(caution.text)));
    CHECK(mentions(text, "Not yet known") == !plan.questions.empty());
  }
}

TEST_CASE("page 1 says what it can, the next ones all: many spots in a line each", "[plan_sheet]") {
  if (poppler_is_missing()) return;
  const auto text_for = [](std::size_t count) {
    std::vector<Dent> dents(count, sample::low(22, 0.3));
    for (std::size_t i = 0; i < count; ++i) dents[i].x_mm += 60.0 * static_cast<double>(i);
    return PdfFile(plan_sheet_pdf(make_plan(sample::reading(dents), plain_steel(), sample::with_sample_kit()),
                                  Paper::a4))
        .text();
  };
  CHECK(mentions(text_for(1), "Glue holds only on clean paint"));
  CHECK_FALSE(mentions(text_for(5), "more: see the next pages"));
  const std::string many = text_for(130);
  CHECK(mentions(many, "more: see the next pages"));
  CHECK(mentions(many, "Spot 130"));
}

TEST_CASE("the photo lies under the drawing, at true size and turned with the spot", "[plan_sheet]") {
  Dent crease = sample::low(40, 0.3, 3);
  crease.angle_deg = 30;
  struct Asked {
    PointMm centre;
    double along_deg, width_mm, height_mm, pixels_per_mm;
  };
  std::vector<Asked> asked;
  const PanelView view = [&](PointMm centre, double along_deg, double width_mm, double height_mm,
                             double pixels_per_mm) {
    asked.push_back({centre, along_deg, width_mm, height_mm, pixels_per_mm});
    return cv::Mat(40, 60, CV_8UC3, cv::Scalar(90, 90, 90));
  };
  const auto sheet_of = [&](const std::vector<Dent>& dents) {
    return plan_sheet_pdf(make_plan(sample::reading(dents), plain_steel(), sample::with_sample_kit()),
                          Paper::a4, view);
  };
  sheet_of({crease});
  REQUIRE(asked.size() == 1);
  CHECK(asked[0].centre == PointMm{crease.x_mm, crease.y_mm});
  CHECK(asked[0].along_deg == 30);
  CHECK(asked[0].width_mm > crease.length_mm.value);
  asked.clear();
  Dent beside = sample::low(14, 0.2);
  beside.x_mm += 60;
  sheet_of({crease, beside});
  CHECK(asked.size() == 3);  // the map and both spots
  CHECK(asked.at(0).along_deg == 0);
}

TEST_CASE("lengths and temperatures stand on the sheet as they were asked for", "[plan_sheet]") {
  if (poppler_is_missing()) return;
  const Plan plan =
      make_plan(sample::reading({sample::low(22, 0.3)}), plain_steel(), sample::with_sample_kit());
  const std::string metric = words_of(PdfFile(plan_sheet_pdf(plan, Paper::a4)).text());
  CHECK(mentions(metric, "\u00b0C"));
  CHECK_FALSE(mentions(metric, " in]"));
  const std::string asked =
      words_of(PdfFile(plan_sheet_pdf(plan, Paper::a4, {}, {.inches = true, .fahrenheit = true})).text());
  CHECK(mentions(asked, "22.0 mm [0.87 in]"));
  CHECK(mentions(asked, "\u00b0F"));
  CHECK_FALSE(mentions(asked, "\u00b0C"));
}

TEST_CASE("every spot that is pulled has its close-up, however many there are", "[plan_sheet]") {
  std::vector<PointMm> asked;
  const PanelView view = [&](PointMm centre, double, double, double, double) {
    asked.push_back(centre);
    return cv::Mat(40, 60, CV_8UC3, cv::Scalar(90, 90, 90));
  };
  std::vector<Dent> dents;
  for (int i = 0; i < 7; ++i) {
    dents.push_back(i == 3 ? sample::high(18, 0.2) : sample::low(i == 5 ? 90 : 14, 0.2));
    dents.back().x_mm += 110.0 * i;
  }
  const Plan plan = make_plan(sample::reading(dents), plain_steel(), sample::with_sample_kit());
  const std::string pdf = plan_sheet_pdf(plan, Paper::a4, view);
  for (const DentPlan& spot : plan.dents) {
    const bool drawn =
        std::find(asked.begin(), asked.end(), PointMm{spot.dent.x_mm, spot.dent.y_mm}) != asked.end();
    CHECK(drawn == spot.tab.has_value());
  }
  if (poppler_is_missing()) return;
  const std::string text = words_of(PdfFile(pdf).text());
  CHECK(mentions(text, "Where to glue: each spot at true size"));
}
