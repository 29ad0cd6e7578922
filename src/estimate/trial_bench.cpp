#include "estimate/trial_bench.h"

#include <algorithm>

#include "estimate/linearisation.h"
#include "estimate/readings.h"
#include "pivotrace/contact/eigen.h"

namespace pivotrace {

namespace {

trial::ChartedLine charted(const contact::NearLine<double>& line) {
  trial::ChartedLine row{};
  for (int k = 0; k < 3; ++k) {
    row.point[k] = line.point[k];
    row.direction[k] = line.direction[k];
    row.first[k] = line.first[k];
    row.second[k] = line.second[k];
  }
  return row;
}

trial::ChartedLine fixed(const Line& line) {
  return charted({contact::from_eigen(line.point_mm), contact::from_eigen(line.direction), {}, {}});
}

}  // namespace

TrialBench::TrialBench(const Model& model, const Adjusted& adjusted, const RandomModel& random,
                       const std::vector<CommonTerm>& common)
    : model_(model), best_(adjusted.unknowns), state_(model.state(adjusted.unknowns)) {
  for (std::size_t s = 0; s < model.survey().stations.size(); ++s) {
    random_effects_ =
        std::max(random_effects_, own_nuisances(model, random, static_cast<int>(s)).count());
  }
  size_matrices(static_cast<Eigen::Index>(common.size()));
  lay_out_axes();
  lay_out_places();
  take_touches(adjusted, random, common);
  take_prior(adjusted);
  point_at_all(random);
}

void TrialBench::size_matrices(Eigen::Index commons) {
  const int readings = model_.total_readings();
  by_common_.resize(readings, commons);
  by_random_.setZero(readings, random_effects_);
  outward_.resize(readings, 3);
  gain_.resize(best_.size(), readings);
}

void TrialBench::lay_out_axes() {
  const Machine& machine = model_.machine();
  for (std::size_t k = 0; k < machine.rotary.size(); ++k) {
    const int axis = static_cast<int>(k);
    const int unknown = model_.layout().axis_first[k];
    axes_.push_back(
        {unknown < 0 ? fixed(state_.axis_lines[k]) : charted(model_.axis_chart(axis).near_line()),
         machine.rotary[k].side == AxisSide::tool, turn_sign(model_.turns()[k]), unknown});
  }
}

void TrialBench::lay_out_places() {
  const Machine& machine = model_.machine();
  for (std::size_t a = 0; a < machine.artefacts.size(); ++a) {
    trial::PlaceRow row{};
    row.kind = static_cast<int>(machine.artefacts[a].kind);
    row.last = machine.artefacts[a].carried_by;
    row.unknown = model_.layout().place_first[a];
    row.line = charted(model_.place_chart(static_cast<int>(a)).near_line());
    row.radius_unknown = -1;
    row.radius_offset_mm = state_.artefacts[a].radius_mm;
    const int group = model_.layout().radius_group[a];
    if (group >= 0) {
      row.radius_unknown = model_.layout().radius_groups[group].unknown;
      row.radius_offset_mm -= best_[row.radius_unknown];
    }
    places_.push_back(row);
  }
}

void TrialBench::take_touches(const Adjusted& adjusted, const RandomModel& random,
                              const std::vector<CommonTerm>& common) {
  const Linearisation at(model_, best_);
  const Eigen::VectorXd shared_sigma = shared_sigmas(model_, random);
  const Eigen::MatrixXd unknowns_joint = adjusted.joint.bottomRows(best_.size());
  StationBlock block;
  Eigen::Index row = 0;
  for (std::size_t s = 0; s < model_.survey().stations.size(); ++s) {
    const auto station = static_cast<int>(s);
    at.evaluate(station, nullptr, block, effects_of(common));
    const ActiveNuisances own = own_nuisances(model_, random, station);
    const StationWeight weight(block, random, own);
    const Eigen::Index m = block.gap.size();
    gain_.middleCols(row, m) = unknowns_joint(Eigen::all, joint_columns(model_, station)) *
                               weight.weigh(joint_derivatives(block)).transpose();
    outward_.middleRows(row, m) = block.by_nuisance.leftCols<3>();
    for (std::size_t c = 0; c < common.size(); ++c) {
      const auto column = static_cast<Eigen::Index>(c);
      by_common_.col(column).segment(row, m) = block.by_common.col(column) * common[c].u;
    }
    for (int k = 0; k < own.count(); ++k) {
      by_random_.col(k).segment(row, m) = block.by_nuisance.col(own.columns[k]) * own.sigma[k];
    }
    add_station(station, at, block);
    add_shared(station, block, shared_sigma);
    row += m;
  }
}

void TrialBench::add_shared(int station, const StationBlock& block, const Eigen::VectorXd& sigma) {
  const std::vector<int>& ids = model_.shared().of_station[station];
  stations_.back().shared = static_cast<int>(ids.size());
  shared_of_.insert(shared_of_.end(), ids.begin(), ids.end());
  for (Eigen::Index reading = 0; reading < block.gap.size(); ++reading) {
    for (std::size_t k = 0; k < ids.size(); ++k) {
      by_shared_.push_back(block.by_shared(reading, static_cast<Eigen::Index>(k)) * sigma[ids[k]]);
    }
  }
}

void TrialBench::add_station(int station, const Linearisation& at, const StationBlock& block) {
  const Station& stay = model_.survey().stations[station];
  trial::StationRow row{};
  row.touches = stay.touch_count;
  row.readings = model_.readings(station);
  const contact::Chain<double> chain = at.station_chain(station, nullptr);
  for (int axis = 0; axis < chain.count; ++axis) {
    row.cosine[axis] = chain.axes[axis].cosine;
    row.sine[axis] = chain.axes[axis].sine;
    row.reached_from[axis] = model_.context().reached_from[station][axis];
  }
  stations_.push_back(row);
  Eigen::Index reading = 0;
  for (int t = 0; t < stay.touch_count; ++t) {
    const Touch& touch = model_.survey().touches[stay.first_touch + t];
    const int readings = readings_of(touch);
    Eigen::Vector3d shown = touch.shown_mm;
    add_effects(touch, at.outward_in_spindle(touch, chain));
    for (int r = 0; r < readings; ++r, ++reading) {
      shown -= block.by_nuisance.row(reading).head<3>().transpose() * block.gap[reading];
    }
    touches_.push_back({{shown.x(), shown.y(), shown.z()}, touch.artefact, touch.flip, readings});
  }
}

void TrialBench::add_effects(const Touch& touch, const Eigen::Vector3d& outward_in_spindle) {
  for (const Effect& effect : model_.layout().effects) {
    const EffectOnTouch on = effect_on_touch(effect, touch, outward_in_spindle, model_.context());
    effect_amounts_.push_back(
        {{on.shown.x(), on.shown.y(), on.shown.z()}, {on.arm.x(), on.arm.y(), on.arm.z()}, on.gap});
  }
}

void TrialBench::take_prior(const Adjusted& adjusted) {
  const PriorRows prior = prior_rows(model_, best_);
  prior_gain_ = adjusted.covariance() * prior.jacobian.transpose();
  prior_by_unknown_ = prior.jacobian;
  const Layout& layout = model_.layout();
  for (std::size_t k = 0; k < layout.effects.size(); ++k) {
    const Effect& effect = layout.effects[k];
    effects_.push_back({layout.effects_first + static_cast<int>(k),
                        effect.kind == EffectKind::reversal ? effect.index : -1});
  }
}

void TrialBench::point_at_all(const RandomModel& random) {
  const auto size = [](const auto& rows) { return static_cast<int>(rows.size()); };
  trial::Problem& p = problem_;
  p.unknowns = static_cast<int>(best_.size());
  p.readings = model_.total_readings();
  p.axes = size(axes_);
  p.places = size(places_);
  p.stations = size(stations_);
  p.touches = size(touches_);
  p.effects = size(effects_);
  p.commons = static_cast<int>(by_common_.cols());
  p.shared = model_.shared().count();
  p.random_effects = random_effects_;
  p.priors = static_cast<int>(prior_gain_.cols());
  p.axis = axes_.data();
  p.place = places_.data();
  p.station = stations_.data();
  p.touch = touches_.data();
  p.effect = effects_.data();
  p.effect_amount = effect_amounts_.data();
  p.stylus_radius_mm = state_.stylus_radius_mm;
  for (int k = 0; k < 3; ++k) p.stylus_offset_mm[k] = state_.stylus_offset_mm[k];
  p.touch_sigma_mm = random.touch_sigma_mm;
  p.best = best_.data();
  p.by_common = by_common_.data();
  p.shared_of = shared_of_.data();
  p.by_shared = by_shared_.data();
  p.by_random = by_random_.data();
  p.outward = outward_.data();
  p.gain = gain_.data();
  p.prior_gain = prior_gain_.data();
  p.prior_by_unknown = prior_by_unknown_.data();
}

}  // namespace pivotrace
