#include "estimate/survey_gains.h"

#include <cmath>

#include "estimate/outputs.h"

namespace pivotrace {

namespace {

class Gathering {
 public:
  Gathering(const Model& model, const Adjusted& adjusted, const std::vector<Output>& outputs,
            const RandomModel& random)
      : model_(model), adjusted_(adjusted), random_(random) {
    by_unknown_.resize(static_cast<Eigen::Index>(outputs.size()), adjusted.unknowns.size());
    for (std::size_t k = 0; k < outputs.size(); ++k) {
      by_unknown_.row(static_cast<Eigen::Index>(k)) = outputs[k].by_unknown.transpose();
    }
    gains_.origin_mm = model.context().origin_mm;
    gains_.middle_mm = model.context().middle_mm;
  }

  void add_common(const std::vector<CommonTerm>& common) {
    for (const CommonTerm& term : common) add(of_effect(term.effect, term.u, 0.0), next_common());
  }

  void add_bounds(const std::vector<BoundTerm>& bounds) {
    for (const BoundTerm& term : bounds) {
      for (std::size_t k = 0; k < term.effects.size(); ++k) {
        const double half_width = term.half_widths[static_cast<Eigen::Index>(k)];
        add(of_effect(term.effects[k], 0.0, half_width), next_common());
      }
    }
  }

  void add_radii() {
    const RadiusPrior& prior = model_.radius_prior();
    const auto& groups = model_.layout().radius_groups;
    Eigen::VectorXd by_stylus = Eigen::VectorXd::Zero(by_unknown_.cols());
    for (std::size_t g = 0; g < groups.size(); ++g) {
      const auto at = static_cast<Eigen::Index>(g);
      const Eigen::VectorXd by_radius = by_stated_sum(at);
      by_stylus += prior.sign[at] * by_radius;
      SharedTerm term;
      term.kind = SharedTerm::Kind::artefact_diameter;
      term.artefact = model_.machine().artefacts[groups[g].owner].name;
      if (!(prior.artefact_precision[at] > 0.0)) continue;
      term.u = 1.0 / std::sqrt(prior.artefact_precision[at]);
      add(std::move(term), by_radius);
    }
    if (!(prior.stylus_precision > 0.0)) return;
    SharedTerm term;
    term.kind = SharedTerm::Kind::stylus_diameter;
    term.u = 1.0 / std::sqrt(prior.stylus_precision);
    add(std::move(term), by_stylus);
  }

  /// Four columns for every index position: its angle, and its motion along X, Y, Z.
  void add_positions() {
    const auto& positions = model_.shared().positions;
    std::vector<std::vector<int>> at_station(model_.survey().stations.size());
    for (std::size_t k = 0; k < positions.size(); ++k) {
      for (const int station : positions[k].stations)
        at_station[station].push_back(static_cast<int>(k));
    }
    Eigen::MatrixXd seen = Eigen::MatrixXd::Zero(adjusted_.joint.rows(),
                                                 4 * static_cast<Eigen::Index>(positions.size()));
    Linearisation at(model_, adjusted_.unknowns);
    at.bend_by(adjusted_.station_errors);
    for (std::size_t s = 0; s < at_station.size(); ++s) {
      see_station(at, static_cast<int>(s), at_station[s], seen);
    }
    const Eigen::MatrixXd moved = -adjusted_.joint.bottomRows(by_unknown_.cols()) * seen;
    for (std::size_t k = 0; k < positions.size(); ++k) {
      const auto first = 4 * static_cast<Eigen::Index>(k);
      for (int part = 0; part < 4; ++part) {
        add(of_position(positions[k], part - 1), moved.col(first + part));
      }
    }
  }

  SurveyGains take() { return std::move(gains_); }

 private:
  Eigen::VectorXd next_common() { return adjusted_.by_common.col(common_++); }

  SharedTerm of_effect(const Effect& effect, double u, double half_width) const {
    SharedTerm term;
    term.effect = name_of(model_.machine(), effect);
    term.u = u;
    term.half_width = half_width;
    return term;
  }

  /// How the unknowns answer to the stated mean of one effective radius.
  Eigen::VectorXd by_stated_sum(Eigen::Index group) const {
    const auto& groups = model_.layout().radius_groups;
    Eigen::VectorXd by = Eigen::VectorXd::Zero(by_unknown_.cols());
    for (std::size_t h = 0; h < groups.size(); ++h) {
      by += adjusted_.covariance().col(groups[h].unknown) *
            model_.radius_prior().precision(static_cast<Eigen::Index>(h), group);
    }
    return by;
  }

  void see_station(const Linearisation& at, int station, const std::vector<int>& positions,
                   Eigen::MatrixXd& seen) const {
    if (positions.empty()) return;
    StationBlock block;
    at.evaluate(station, nullptr, block);
    const StationWeight weight(block, random_, own_nuisances(model_, random_, station));
    const Eigen::MatrixXd weighed = weight.weigh(joint_derivatives(block));
    const std::vector<int> rows = joint_columns(model_, station);
    for (const int k : positions) {
      const int axis = model_.shared().positions[static_cast<std::size_t>(k)].axis;
      Eigen::MatrixXd columns(block.gap.size(), 4);
      columns << block.by_nuisance.col(3 + axis), at.by_motion(station, axis, block);
      const Eigen::MatrixXd part = weighed.transpose() * columns;
      for (std::size_t r = 0; r < rows.size(); ++r) {
        seen.row(rows[r]).segment(4 * k, 4) += part.row(static_cast<Eigen::Index>(r));
      }
    }
  }

  SharedTerm of_position(const IndexPosition& position, int component) const {
    SharedTerm term;
    const auto axis = static_cast<std::size_t>(position.axis);
    term.kind = component < 0 ? SharedTerm::Kind::index_error : SharedTerm::Kind::axis_motion;
    term.axis = model_.machine().rotary[axis].letter;
    term.angle_rad = position.angle_rad;
    term.side = static_cast<int>(position.side);
    term.component = std::max(component, 0);
    term.u = component < 0 ? random_.index_sigma_rad[axis] : random_.axis_motion_sigma_mm[axis];
    return term;
  }

  /// What moves nothing, or cannot be off, is left out.
  void add(SharedTerm term, const Eigen::VectorXd& by) {
    term.gains = by_unknown_ * by;
    if (!(term.u > 0.0) && !(term.half_width > 0.0)) return;
    if (!(term.gains.cwiseAbs().maxCoeff() > 0.0)) return;
    gains_.terms.push_back(std::move(term));
  }

  const Model& model_;
  const Adjusted& adjusted_;
  const RandomModel& random_;
  Eigen::MatrixXd by_unknown_;  ///< (n x p) of the outputs
  Eigen::Index common_ = 0;
  SurveyGains gains_;
};

}  // namespace

SurveyGains survey_gains(const Model& model, const Adjusted& adjusted,
                         const std::vector<Output>& outputs, const RandomModel& random,
                         const std::vector<CommonTerm>& common,
                         const std::vector<BoundTerm>& bounds) {
  Gathering gathering(model, adjusted, outputs, random);
  gathering.add_common(common);
  gathering.add_bounds(bounds);
  gathering.add_radii();
  gathering.add_positions();
  return gathering.take();
}

}  // namespace pivotrace
