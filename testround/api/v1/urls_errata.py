"""Addresses of the analysis of a round, its errata desk, drafts, and what is published."""

from __future__ import annotations

from django.urls import path

from testround.api.v1 import analysis, compare, desk, drafts, results

urlpatterns = [
    path("rounds/<str:code>/analysis", analysis.AnalysisOfRound.as_view(), name="analysis"),
    path("rounds/<str:code>/findings", analysis.Findings.as_view(), name="findings"),
    path("rounds/<str:code>/amounts", results.Amounts.as_view(), name="amounts"),
    path("rounds/<str:code>/gauges", results.Gauges.as_view(), name="gauges"),
    path("rounds/<str:code>/report", analysis.ReportOnPaper.as_view(), name="report"),
    path("rounds/<str:code>/desk", desk.DeskOfRound.as_view(), name="desk"),
    path("rounds/<str:code>/findings/accept", desk.Accept.as_view(), name="findings_accept"),
    path("rounds/<str:code>/findings/decline", desk.Decline.as_view(), name="findings_decline"),
    path("rounds/<str:code>/findings/wait", desk.Wait.as_view(), name="findings_wait"),
    path("rounds/<str:code>/findings/undo", desk.Undo.as_view(), name="findings_undo"),
    path("rounds/<str:code>/findings/ask", desk.AskAboutFinding.as_view(), name="findings_ask"),
    path("rounds/<str:code>/remarks/draft", desk.DraftFromRemarks.as_view(), name="remarks_draft"),
    path("rounds/<str:code>/remarks/decline", desk.DeclineRemarks.as_view(), name="remarks_decline"),
    path("rounds/<str:code>/remarks/wait", desk.WaitForRemarks.as_view(), name="remarks_wait"),
    path("rounds/<str:code>/remarks/undo", desk.UndoRemarks.as_view(), name="remarks_undo"),
    path("rounds/<str:code>/remarks/ask", desk.AskAboutRemarks.as_view(), name="remarks_ask"),
    path("rounds/<str:code>/drafts", drafts.Drafts.as_view(), name="drafts"),
    path("rounds/<str:code>/drafts/merge", drafts.Merge.as_view(), name="drafts_merge"),
    path("rounds/<str:code>/drafts/<int:id>", drafts.OneDraft.as_view(), name="draft"),
    path("rounds/<str:code>/drafts/<int:id>/complete", drafts.Complete.as_view(), name="draft_complete"),
    path("rounds/<str:code>/drafts/<int:id>/preview", drafts.Preview.as_view(), name="draft_preview"),
    path("rounds/<str:code>/drafts/<int:id>/publish", drafts.Publish.as_view(), name="draft_publish"),
    path("rounds/<str:code>/next-edition", drafts.NextEdition.as_view(), name="round_next_edition"),
    path("patterns/<str:code>/errata", drafts.ErrataOfPattern.as_view(), name="pattern_errata"),
    path("patterns/<str:code>/compare", compare.Compare.as_view(), name="compare"),
]
