#pragma once

#include "analysis/prior_learner.hpp"
#include "app/review.hpp"
#include "app/vessel_part.hpp"
#include "storage/changes.hpp"

#include <cstdint>
#include <memory>
#include <vector>

namespace shaftlog {

/// The review of a whole fleet, made again and again: what nothing has touched since the last time is taken over. The
/// answer is that of review(), to the last bit. A vessel is computed again when a record, a correction, a withdrawal or
/// a remark of it came, or when what the fleet teaches about one of its shafts came out otherwise; all are when the
/// register was changed or another moment is asked for. Not for several threads at once.
class KeptReview {
 public:
  /// \param db always of one file; see forget()
  /// \param threads 0: as many as the machine has
  /// \throws Error as review(); then everything is computed next time
  FleetReview review(Database& db, Instant as_of, unsigned threads = 0);
  /// To be called where the file may be another one.
  void forget();

  /// Of the last review.
  struct Work {
    std::size_t touched = 0;   ///< vessels whose records were read because something came
    std::size_t reviewed = 0;  ///< vessels computed again, those included
    bool has_learnt = false;   ///< the fleet taught something else than the time before
  };
  [[nodiscard]] const Work& work() const noexcept { return work_; }

 private:
  struct Held {
    Vessel vessel;
    std::vector<ShaftHistory> histories;
    std::uint64_t serial = 0;          ///< of the histories
    std::vector<WashoutPrior> priors;  ///< with which `part` was made, in the order of the histories
    std::shared_ptr<const VesselPart> part;
  };
  FleetReview made(Database& db, Instant as_of, unsigned threads);

  bool is_whole_ = false;  ///< everything below is of one review
  Instant as_of_{};
  FileMark mark_;
  Register reg_;
  std::vector<Held> held_;  ///< in order of vessel code
  std::unique_ptr<PriorLearner> learner_ = std::make_unique<PriorLearner>();
  std::uint64_t serial_ = 0;
  Work work_;
};

}  // namespace shaftlog
